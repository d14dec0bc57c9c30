"""Deliberate defects in the core: the proof must find each, with the right property."""

from collections.abc import Callable
from typing import Any

import pytest

from coordinator.core import barriers, holds, interlocks, lanes, pairing, recovery, zones
from coordinator.core.effects import SendRelease
from coordinator.prove import Limits, explore
from tests.support.pair_plan import pair_plan

Plant = Callable[[pytest.MonkeyPatch], None]


def no_gate(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(interlocks, "unmet_for", lambda turn, node: ())


def no_watch(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(interlocks, "watch", lambda turn: None)
    no_gate(patch)


def zones_for_all(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(zones, "is_free", lambda turn, lane, move: True)


def one_released(patch: pytest.MonkeyPatch) -> None:
    whole = barriers._release

    def release(turn: Any, barrier: int) -> None:
        whole(turn, barrier)
        sent = [one for one in turn.effects if isinstance(one, SendRelease)]
        if sent:
            turn.effects.remove(sent[-1])

    patch.setattr(barriers, "_release", release)


def partner_goes_on(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(pairing, "stop_partners", lambda turn, span, failed: None)


def lone_restart(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(pairing, "rewind", lambda turn, span, recheck=False: None)


def restart_forgets(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(recovery, "start_over", lambda turn, lane, at: None)


def stop_never_ends(patch: pytest.MonkeyPatch) -> None:
    whole = holds.confirm_rest

    def confirm(turn: Any) -> None:
        if turn.state.phase != "stopping":
            whole(turn)

    patch.setattr(lanes, "confirm_rest", confirm)


@pytest.mark.parametrize(
    ("plant", "expected"),
    [
        (stop_never_ends, "way_to_end"),
        (no_gate, "no_motion_when_active"),
        (no_watch, "no_motion_when_active"),
        (zones_for_all, "one_in_a_zone"),
        (one_released, "together"),
        (partner_goes_on, "way_to_complete"),
        (lone_restart, "way_to_complete"),
        (restart_forgets, "way_to_complete"),
    ],
)
def test_a_planted_defect_is_found(
    monkeypatch: pytest.MonkeyPatch, plant: Plant, expected: str
) -> None:
    """A finder that finds nothing planted proves nothing."""
    plant(monkeypatch)

    found = explore(pair_plan(), Limits(1, states_max=60_000))

    assert expected in {one.property for one in found.violations}
