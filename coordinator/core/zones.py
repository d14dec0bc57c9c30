"""Lease the zones that more than one arm can reach: one arbiter, one holder each.

Invariants: Z1, never two parties in one zone; Z2, a lane keeps a zone until a move that ends
outside it is done, so that an arm that stands inside still counts as inside, and no person's word
stands for that move.
"""

from coordinator.core.plan import Move
from coordinator.core.turn import Turn


def is_free(turn: Turn, lane: int, move: Move) -> bool:
    """Tell whether a lane may make a move as far as zones go."""
    # Its own zone is free to it: an arm may make several moves where it stands.
    return move.zone < 0 or turn.state.zones[move.zone] in (-1, lane)


def enter(turn: Turn, lane: int, move: Move) -> None:
    """Lease the move's zone to the lane."""
    if move.zone >= 0 and turn.state.zones[move.zone] != lane:
        zones = turn.state.zones
        turn.change(zones=(*zones[: move.zone], lane, *zones[move.zone + 1 :]))


def leave(turn: Turn, lane: int, move: Move) -> None:
    """Give back every zone but the one that the finished move ended in."""
    if lane in turn.state.zones:
        turn.change(
            zones=tuple(
                -1 if holder == lane and zone != move.zone else holder
                for zone, holder in enumerate(turn.state.zones)
            )
        )
