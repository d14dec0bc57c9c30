"""Follow every bolt through a sequence: none may be left half tightened, or handed over unchecked.

Units: torque newton metre.
Invariants: SQ15, where any bolt is pulled, each ends pulled in the last round and checked after it,
or out.
"""

from dataclasses import dataclass
from enum import StrEnum

from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.nodes import Built
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.rules.ahead import Ahead


class Standing(StrEnum):
    """How a bolt stands, as far as the steps tell."""

    OUT = "out"
    LOOSE = "loose"
    PULLED = "pulled in the last round"
    CHECKED = "checked"


@dataclass(slots=True)
class _Bolt:
    standing: Standing
    last: Built | None = None
    """The step that left it so."""


_AFTER = {"run-up": Standing.LOOSE, "break-out": Standing.LOOSE, "back-out": Standing.OUT}


def check_bolts(given: Input, built: tuple[Built, ...], ahead: Ahead) -> None:
    """Tell of bolts that are left loose or unchecked, and of a joint handed over before that."""
    place = {node: number for number, node in enumerate(ahead.order)}
    proofs = sorted((one for one in built if one.node.record), key=lambda one: place[one.index])
    pulls = [one for one in proofs if one.node.record and one.node.record.kind == "pull"]
    # A pull whose bolt or torque was told to be wrong would only tell the same mistake again.
    is_whole = all(len(one.values) == len(one.action.takes) for one in built if one.action.records)
    if not pulls or not is_whole:
        return
    bolts = _follow(given, proofs)
    alike: dict[tuple[Trail, Standing], list[int]] = {}
    for number, bolt in bolts.items():
        at = bolt.last or pulls[0]
        alike.setdefault(((*at.item.trail, "do"), bolt.standing), []).append(number)
    for (trail, standing), numbers in alike.items():
        _tell_bolts(given, trail, standing, numbers)
    _check_hand_over(given, built, proofs, ahead)


def _follow(given: Input, proofs: list[Built]) -> dict[int, _Bolt]:
    is_open = given.sequence.begins == "joint_open"
    begins = Standing.OUT if is_open else Standing.CHECKED
    bolts = {bolt: _Bolt(begins) for bolt in range(1, given.joint.bolt_count + 1)}
    for one in proofs:
        record = one.node.record
        if record is None:
            continue
        bolt = bolts[record.bolt]
        if record.kind in _AFTER:
            bolt.standing, bolt.last = _AFTER[record.kind], one
        elif record.kind == "pull":
            bolt.standing, bolt.last = _pulled(given, bolt.standing, record.target_nm), one
        elif record.kind == "check" and bolt.standing is Standing.PULLED:
            bolt.standing, bolt.last = Standing.CHECKED, one
    return bolts


def _pulled(given: Input, standing: Standing, torque_nm: float) -> Standing:
    """Return how a bolt stands after a pull; one that was tight does not come loose by it."""
    if torque_nm >= given.joint.torque_nm * (1.0 - given.joint.tolerance):
        return Standing.CHECKED if standing is Standing.CHECKED else Standing.PULLED
    return Standing.LOOSE if standing is Standing.OUT else standing


def _tell_bolts(given: Input, trail: Trail, standing: Standing, numbers: list[int]) -> None:
    names = ", ".join(map(str, numbers))
    who = f"bolt {names} is" if len(numbers) == 1 else f"bolts {names} are"
    if standing in (Standing.OUT, Standing.LOOSE):
        what = f"{who} {'left loose' if standing is Standing.LOOSE else 'never pulled'}"
        must = f"must be pulled to {given.joint.torque_nm:.0f} N.m in the last round"
        do = "loop over 'pair' inside a loop over 'round'"
        given.tell(trail, "SEQ068", what, must, do)
    elif standing is Standing.PULLED and _can_check(given):
        what = f"{who} pulled in the last round and not checked after it"
        given.tell(trail, "SEQ069", what)


def _can_check(given: Input) -> bool:
    """Return whether the cell has any way of checking."""
    return any(action.records == "check" for action in given.cell.actions.values())


def _check_hand_over(
    given: Input, built: tuple[Built, ...], proofs: list[Built], ahead: Ahead
) -> None:
    for one in built:
        if not one.action.hands_over:
            continue
        late = [proof for proof in proofs if not ahead.is_before(proof.index, one.index)]
        if late:
            what = f"{one.node.name!r} hands the joint over before {late[-1].node.name!r} is done"
            must = f"must come after all {len(proofs)} steps that prove something about a bolt"
            do = "put it after a barrier that stands below the check pass in both lanes"
            given.tell((*one.item.trail, "do"), "SEQ072", what, must, do)
