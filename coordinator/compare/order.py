"""Say in what other order a lane takes its bolts and does its steps."""

from collections.abc import Iterator

from coordinator.compare.change import Change, listed
from coordinator.compare.grouped import Whole
from coordinator.compare.matching import Matched, Pair
from coordinator.compare.steps import Step


def compare_order(lanes: tuple[Matched, ...], *, is_of_other_size: bool) -> Iterator[Change]:
    """Yield each other order once, however many steps stand in it."""
    whole = Whole.of(step for lane in lanes for step in (*lane.was, *lane.now))
    moved: dict[str, list[tuple[str, Pair]]] = {}
    for lane in lanes:
        before = sorted(lane.pairs, key=lambda pair: pair.was_at)
        if before == list(lane.pairs):
            continue
        bolts = list(_bolts(lane, before, whole))
        yield from bolts
        steps = list(_steps(lane))
        # Barriers of a loop that goes over more bolts stand between others of them.
        if not bolts and not steps and not is_of_other_size:
            steps = [_first(lane, before)]
        for text, pair in steps:
            moved.setdefault(text, []).append((lane.now[0].party, pair))
    for text, found in moved.items():
        parties = listed(list(dict.fromkeys(party for party, _ in found)))
        pair = found[0][1]
        yield Change("order", f"{parties}: {text}", pair.was.place, pair.now.place)


def _first(lane: Matched, before: list[Pair]) -> tuple[str, Pair]:
    """Return the first step that is not where it was, where no better words are found."""
    now, was = next((one, two) for one, two in zip(lane.pairs, before, strict=True) if one != two)
    text = f"the order is another: {_named(now.now)} now comes before {_named(was.now)}"
    return text, now


def _named(step: Step) -> str:
    return f"{step.phrase} of {step.noun} {step.bolt}" if step.bolt else step.phrase


def _bolts(lane: Matched, before: list[Pair], whole: Whole) -> Iterator[Change]:
    """Yield the orders of bolts that are others, with the rounds and actions they hold for."""
    was, now = (_orders(one) for one in (before, list(lane.pairs)))
    groups: dict[tuple[tuple[int, ...], tuple[int, ...]], list[Step]] = {}
    for key, bolts in now.items():
        if bolts != was[key]:
            step = next(pair.now for pair in lane.pairs if (pair.now.what, pair.now.round) == key)
            groups.setdefault((bolts, was[key]), []).append(step)
    for (new, old), steps in groups.items():
        whats = list(dict.fromkeys(one.what for one in steps))
        rounds = whole.rounds_phrase(steps[0].what, [one.round for one in steps])
        text = (
            f"{steps[0].party} now goes over its bolts in the order {_numbers(new)}{rounds}, "
            f"was {_numbers(old)} ({listed(whats)})"
        )
        yield Change("order", text, "", steps[0].place)


def _numbers(bolts: tuple[int, ...]) -> str:
    return ", ".join(str(one) for one in bolts)


def _orders(pairs: list[Pair]) -> dict[tuple[str, int], tuple[int, ...]]:
    """Return the bolts of each action and round in order."""
    found: dict[tuple[str, int], tuple[int, ...]] = {}
    for pair in pairs:
        if pair.now.bolt:
            key = (pair.now.what, pair.now.round)
            found[key] = (*found.get(key, ()), pair.now.bolt)
    return found


def _steps(lane: Matched) -> Iterator[tuple[str, Pair]]:
    """Yield steps that now follow what no step of their name followed before."""
    known = {(step.phrase, _above(lane.was, place)): True for place, step in enumerate(lane.was)}
    told: dict[str, Pair] = {}
    for pair in lane.pairs:
        now, was = _above(lane.now, pair.now_at), _above(lane.was, pair.was_at)
        if pair.is_moved and now != was and (pair.now.phrase, now) not in known:
            told.setdefault(f"{pair.now.phrase} now comes {now}, was {was}", pair)
    yield from told.items()


def _above(side: tuple[Step, ...], place: int) -> str:
    return f"after {side[place - 1].phrase}" if place else "first of all"
