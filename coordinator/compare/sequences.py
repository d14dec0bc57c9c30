"""Say how two sequences differ, with their joints and cells, judged from their plans."""

from collections.abc import Iterator

from coordinator.compare.barriers import compare_barriers
from coordinator.compare.cells import compare_cells
from coordinator.compare.change import Change
from coordinator.compare.joints import compare_joints
from coordinator.compare.lanes import Cells, compare_lanes
from coordinator.compare.matching import Matched, match
from coordinator.compare.order import compare_order
from coordinator.compare.steps import Step, steps_of
from coordinator.core.plan import Prompt
from coordinator.draw.words import plain
from coordinator.sequence import Loaded
from coordinator.sequence.compiler.happenings_said import say_property
from coordinator.sequence.models.sequence_model import PointModel


def compare_sequences(was: Loaded, now: Loaded) -> tuple[Change, ...]:
    """Return how the second sequence differs from the first; none if they mean the same."""
    lanes = tuple(_lanes(was, now))
    is_of_other_size = was.joint.bolt_count != now.joint.bolt_count
    return (
        *compare_joints(was.joint, now.joint),
        *compare_cells(was.cell, now.cell),
        *_begins(was, now),
        *compare_barriers(was.plan, now.plan),
        *compare_order(lanes, is_of_other_size=is_of_other_size),
        *compare_lanes(lanes, Cells(was.cell, now.cell), is_of_other_size=is_of_other_size),
        *_questions(was, now),
        *_points(was, now),
        *_properties(was, now),
    )


def _lanes(was: Loaded, now: Loaded) -> Iterator[Matched]:
    """Yield the lanes side by side: by name, or by their order where the names are others."""
    old, new = ([party.name for party in one.plan.parties] for one in (was, now))
    by_name = sorted(old) == sorted(new)
    count = max(len(old), len(new))
    for place in range(count):
        other = old.index(new[place]) if by_name else place
        yield match(_steps(was, other), _steps(now, place))


def _steps(loaded: Loaded, lane: int) -> tuple[Step, ...]:
    return steps_of(loaded, lane) if lane < len(loaded.plan.lanes) else ()


def _begins(was: Loaded, now: Loaded) -> Iterator[Change]:
    if was.begins != now.begins:
        text = f"it now begins with the {plain(now.begins)}, was with the {plain(was.begins)}"
        yield Change("steps", text)


def _questions(was: Loaded, now: Loaded) -> Iterator[Change]:
    points = {**was.sequence.points, **now.sequence.points}
    before, after = ({one.name: one for one in side.plan.prompts} for side in (was, now))
    for name in dict.fromkeys((*before, *after)):
        noun = "point" if name in points else "question"
        if name not in before or name not in after:
            is_new = name in after
            text = f"{noun} {plain(name)} is new" if is_new else f"there is no {noun} {plain(name)}"
            yield Change("questions", text if is_new else f"{text} any more")
            continue
        for text in _question(before[name], after[name]):
            yield Change("questions", f"{noun} {plain(name)} {text}")


def _properties(was: Loaded, now: Loaded) -> Iterator[Change]:
    before = {one.name: say_property(was.plan, one) for one in was.properties}
    after = {one.name: say_property(now.plan, one) for one in now.properties}
    for name, promised in after.items():
        if name not in before:
            yield Change("properties", f"property {plain(name)} is new: {promised}")
        elif before[name] != promised:
            text = f"property {plain(name)} is now: {promised}; was: {before[name]}"
            yield Change("properties", text)
    for name in before:
        if name not in after:
            yield Change("properties", f"there is no property {plain(name)} any more")


def _question(was: Prompt, now: Prompt) -> Iterator[str]:
    if was.text != now.text:
        yield f"now reads {now.text!r}, was {was.text!r}"
    if was.caution != now.caution:
        yield f"now warns {now.caution!r}, was {was.caution!r}"
    if was.who != now.who:
        yield f"is now for {now.who or 'anybody'}, was for {was.who or 'anybody'}"
    before, after = dict(was.options), dict(now.options)
    for option in dict.fromkeys((*before, *after)):
        new, old = after.get(option), before.get(option)
        if old is None:
            yield f"now offers {option.value}, which {new}"
        elif new is None:
            yield f"no longer offers {option.value}"
        elif new != old:
            yield f"now says of {option.value} that it {new!r}, was {old!r}"


def _points(was: Loaded, now: Loaded) -> Iterator[Change]:
    for name, point in now.sequence.points.items():
        before: PointModel | None = was.sequence.points.get(name)
        if before is not None and before.kind != point.kind:
            text = f"point {plain(name)} is now a {point.kind} point, was a {before.kind} point"
            yield Change("questions", text)
