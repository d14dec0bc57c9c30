"""Print, or return to a script, how near the arms of a sequence can come in any order of events."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coordinator.cli.check.proof import Proving
from coordinator.cli.output import Output
from coordinator.core.plan import Plan
from coordinator.prove.concurrency import GO_BACKS, NOTHING, Spot, TooManyStates
from coordinator.rehearse.apart import Clearance, NearPass, clearance_of
from coordinator.rehearse.simulated import unknown_to_simulation
from coordinator.rehearse.stances import BY_HAND_MAX
from coordinator.sequence import Loaded

APART_M = 0.3
"""Chosen: near passes that lie no further apart are told of as one place."""
PARTS = "a barrier between the two steps, a zone that both lease, or another order of one lane"


@dataclass(frozen=True, slots=True)
class _Place:
    """Near passes that are one to a person who looks at the cell."""

    nearest: NearPass
    pairs: int


def judge_space(output: Output, path: Path, loaded: Loaded, asked: Proving) -> dict[str, Any]:
    """Print how near the arms come over every order of events, and return the same as data."""
    limit_m = loaded.cell.clearance
    why_not = unknown_to_simulation(loaded)
    go_backs = min(asked.limits.causes, GO_BACKS)
    found: Clearance | None = None
    try:
        if not why_not:
            found = clearance_of(loaded, limit_m or 0.0, go_backs)
    except TooManyStates as error:
        why_not = str(error)
    if found is None:
        output.say(f"{path}: clearance is not judged: {why_not}")
        return {"file": str(path), "judged": False, "why_not": why_not, "clear": limit_m is None}
    places = _places(found.below)
    _say(output, path, loaded, found, places)
    return {
        "file": str(path),
        "judged": True,
        "clear": not found.below,
        "least_m": round(found.least.gap_m, 4),
        "limit_m": limit_m,
        "go_backs": go_backs,
        "pairs": len(found.together.pairs),
        "states": found.together.states,
        "near": [_data(loaded, one) for one in places],
    }


def _places(passes: Sequence[NearPass]) -> list[_Place]:
    """Group near passes by where they are, the nearest first."""
    found: list[_Place] = []
    for one in passes:
        for index, place in enumerate(found):
            if math.dist(place.nearest.at_m[:2], one.at_m[:2]) <= APART_M:
                found[index] = _Place(place.nearest, place.pairs + one.pairs)
                break
        else:
            found.append(_Place(one, one.pairs))
    return found


def _say(
    output: Output, path: Path, loaded: Loaded, found: Clearance, places: Sequence[_Place]
) -> None:
    names = [party.name for party in loaded.plan.parties if party.is_arm]
    limit_m = loaded.cell.clearance
    for place in places:
        near = place.nearest
        gap = f"come within {near.gap_m * 1e3:.0f} mm" if near.gap_m > 0 else "touch"
        parts = " and ".join(f"{name} {part}" for name, part in zip(names, near.parts, strict=True))
        output.say(f"{path}: the arms {gap}: {parts}, {_where(near)}; must be {_mm(limit_m)}")
        for name, spot in zip(names, near.spots, strict=True):
            output.say(f"  {name}: {_words(loaded.plan, spot)}")
        output.say(f"  {place.pairs} pairs of steps lead there; what parts them: {PARTS}")
    for words in found.out_of_reach:
        output.say(f"{path}: a way is out of reach and was not looked at: {words}")
    least = found.least
    asks = "the cell asks for none" if limit_m is None else f"the cell asks for {_mm(limit_m)}"
    output.say(
        f"{path}: clearance in any order of events: {_mm(least.gap_m)} at least between the arms, "
        f"{names[0]} {least.parts[0]} to {names[1]} {least.parts[1]}, {_where(least)}; {asks}; "
        f"{len(found.together.pairs)} pairs of steps that can be together, up to "
        f"{found.together.go_backs} return over rounds, {BY_HAND_MAX} step by hand per arm"
    )


def _mm(length_m: float | None) -> str:
    return f"{(length_m or 0.0) * 1e3:.0f} mm"


def _where(near: NearPass) -> str:
    x_m, y_m, z_m = (round(one, 2) + 0.0 for one in near.at_m)  # No -0.00.
    return f"{x_m:+.2f} m, {y_m:+.2f} m from the joint's axis, {z_m:.2f} m up"


def _words(plan: Plan, spot: Spot) -> str:
    if spot.step == NOTHING:
        return "has not begun"
    node = plan.nodes[spot.step]
    at = f"{node.origin.file}:{node.origin.line}:{node.origin.column}"
    how = "stands after" if spot.is_done else "at"
    before = "" if spot.before == NOTHING else f", from {plan.nodes[spot.before].name!r}"
    return f"{how} {node.name!r}{before}  {at}"


def _data(loaded: Loaded, place: _Place) -> dict[str, Any]:
    near = place.nearest
    return {
        "gap_m": round(near.gap_m, 4),
        "parts": list(near.parts),
        "at_m": [round(one, 3) for one in near.at_m],
        "steps": [_words(loaded.plan, spot) for spot in near.spots],
        "pairs": place.pairs,
    }
