"""Say how the lanes of two plans differ: steps that are new, gone, changed or in another order."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from coordinator.compare.change import Change, numbered
from coordinator.compare.grouped import Whole, gather, parties, subject
from coordinator.compare.matching import Matched, Pair
from coordinator.compare.sentences import Said, sayings
from coordinator.compare.steps import Step
from coordinator.core.plan import NodeKind
from coordinator.sequence.models.cell_model import ActionModel, CellModel


@dataclass(frozen=True, slots=True)
class Cells:
    """The cells of both plans: what they say of an action is told once, as theirs."""

    was: CellModel
    now: CellModel

    def told(self, pair: Pair) -> tuple[Step, Step]:
        """Return both steps, the first as if the second cell's actions had held already."""
        name = pair.now.what.replace(" ", "_")
        before, after = self.was.actions.get(name), self.now.actions.get(name)
        if before is None or after is None or before == after:
            return pair.was, pair.now
        aspects = dict(pair.was.aspects)
        for key, value in _of_action(before).items():
            follows = _of_action(after)[key]
            if (aspects.get(key), pair.now.aspects.get(key)) == (value, follows):
                aspects[key] = follows
        was = replace(pair.was, aspects=aspects)
        return was, pair.now


def _of_action(action: ActionModel) -> dict[tuple[str, str], object]:
    return {
        ("timeout", ""): action.timeout,
        ("no_progress", ""): action.no_progress,
        ("on_hold", ""): action.on_hold,
        ("zone", ""): action.zone or "",
        ("record", ""): action.records or "",
    }


def compare_lanes(
    lanes: tuple[Matched, ...], cells: Cells, *, is_of_other_size: bool
) -> Iterator[Change]:
    """Yield every change of all lanes; what happens alike to many steps is told once.

    Args:
        lanes: Each lane of both plans side by side.
        cells: The cells of both.
        is_of_other_size: Whether the joint has another number of bolts; what is done to the bolts
            of a side is then not told bolt by bolt where it is done to the others too.
    """
    whole = Whole.of(step for lane in lanes for step in (*lane.was, *lane.now))
    if is_of_other_size:
        yield from _other_bolts(lanes)
    yield from _new_and_gone(lanes, whole, is_of_other_size=is_of_other_size)
    changed = (
        (pair.now, said, pair.was.place, pair.now.place)
        for lane in lanes
        for pair in lane.pairs
        for said in sayings(*cells.told(pair))
    )
    for group in gather(changed):
        text = _filled(whole, group.said, group.steps)
        yield Change(group.said.about, text, group.was_at, group.now_at)


def _filled(whole: Whole, said: Said, steps: tuple[Step, ...]) -> str:
    if not said.is_of_bolts:
        return f"{subject(whole, steps)}: {said.text}"
    phrase = whole.bolts_phrase(steps)
    rounds = whole.rounds_phrase(steps[0].what, (one.round for one in steps))
    are = "are" if phrase.startswith("bolts") else "is"
    return said.text.format(bolts=phrase, are=are, rounds=rounds)


def _other_bolts(lanes: tuple[Matched, ...]) -> Iterator[Change]:
    for lane in lanes:
        new, old = (_bolts(side) for side in (lane.now, lane.was))
        if new and old and new != old:
            text = f"{lane.now[0].party} now works on {numbered('bolt', new)}, was on "
            yield Change("steps", text + numbered("bolt", old))


def _bolts(side: tuple[Step, ...]) -> tuple[int, ...]:
    return tuple(sorted(dict.fromkeys(one.bolt for one in side if one.bolt)))


def _follows(lane: Matched, step: Step) -> bool:
    """Return whether a step is there or not only because the side has other bolts."""
    alike = [[one for one in side if one.what == step.what] for side in (lane.was, lane.now)]
    rounds = [sorted(dict.fromkeys(one.round for one in side)) for side in alike]
    if not all(alike) or rounds[0] != rounds[1]:
        return False
    if step.kind is NodeKind.BARRIER:
        return "pair" in step.apart or "bolt" in step.apart
    return step.bolt > 0 and (step.bolt in _bolts(lane.was)) != (step.bolt in _bolts(lane.now))


def _new_and_gone(
    lanes: tuple[Matched, ...], whole: Whole, *, is_of_other_size: bool
) -> Iterator[Change]:
    found = [
        (side[place], (is_new, _before(side, place)), "", side[place].place)
        for lane in lanes
        for is_new, places, side in ((False, lane.gone, lane.was), (True, lane.new, lane.now))
        for place in places
        if not (is_of_other_size and _follows(lane, side[place]))
    ]
    for group in gather(found):
        is_new, before = group.said
        text = _one_sided(whole, group.steps, before, is_new=is_new)
        at = group.now_at
        yield Change("steps", text, "" if is_new else at, at if is_new else "")


def _before(side: tuple[Step, ...], place: int) -> str:
    return f"after {side[place - 1].phrase}" if place else "first of all"


def _one_sided(whole: Whole, steps: tuple[Step, ...], before: str, *, is_new: bool) -> str:
    step, who = steps[0], parties(steps)
    many = " and " in who
    times = len(steps) // len(who.split(" and "))
    often = f", {times} times" if times > 1 and not step.bolt else ""
    match step.kind:
        case NodeKind.BARRIER:
            verb, thing = "meet", f" at barrier {step.what}"
        case NodeKind.POINT:
            verb, thing = "stop", f" at point {step.what}"
        case _:
            verb, thing = "do", f" {step.what}" + (f" {step.apart}" if step.apart else "")
            if step.bolt:
                thing += f" of {whole.bolts_phrase(steps)}"
    if step.kind is not NodeKind.BARRIER:
        thing += whole.rounds_phrase(step.what, [one.round for one in steps])
    if is_new:
        return f"{who} now also {verb if many else _one(verb)}{thing}, {before}{often}"
    return f"{who} no longer {verb if many else _one(verb)}{thing}, was {before}{often}"


def _one(verb: str) -> str:
    return "does" if verb == "do" else f"{verb}s"
