"""Tell the shortest way to every property that does not hold, step by step, in the plan's words."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain

from coordinator.core.plan import Plan
from coordinator.prove.graph import Expander
from coordinator.prove.monitors import Happened, Judge, Violation, happened_at
from coordinator.prove.pieces import Places
from coordinator.prove.reach import Came, Reach, Walk
from coordinator.prove.store import Word, Words
from coordinator.prove.ways import Lost


def find_violations(
    plan: Plan, expander: Expander, walk: Walk, judge: Judge, lost: Sequence[Lost]
) -> list[Violation]:
    """Return one violation of each property that is broken, the one with the fewest steps."""
    best: dict[str, tuple[int, Places, int, str, Words]] = {}
    wrong = (_broken(expander, walk), _lost(expander, walk, lost), _apart(expander, walk, judge))
    for at, found in chain.from_iterable(wrong):
        name, places, number, text, words = found
        if name not in best or at < best[name][0]:
            best[name] = (at, places, number, text, words)
    violations = []
    for name, (_, places, number, text, words) in best.items():
        path = [*_path(expander, walk.entries, walk.reached, places, number), (places, words)]
        course = tuple(
            _happened(plan, expander, there, word) for there, said in path for word in said
        )
        told = tuple(_say(plan, one) for one in course)
        causes = sum(one.is_cause for one in course)
        violations.append(Violation(name, text, told, causes, course))
    return violations


_Found = tuple[int, tuple[str, Places, int, str, Words]]


def _broken(expander: Expander, walk: Walk) -> Iterator[_Found]:
    for places, one in walk.reached.items():
        for number in one.breaks:
            for found in expander.graph(places).breaks[number]:
                at = walk.bases[places] + one.steps[number] + len(found.words)
                yield at, (found.property, places, number, found.text, found.words)


def _lost(expander: Expander, walk: Walk, lost: Sequence[Lost]) -> Iterator[_Found]:
    """Tell of every lost state; of what is taken in one step it is lost from the first part on."""
    known = {(found.places, found.number, found.property): found for found in lost}
    for found in lost:
        at = walk.bases[found.places] + walk.reached[found.places].steps[found.number]
        yield at, (found.property, found.places, found.number, found.text, ())
    for name in dict.fromkeys(found.property for found in lost):
        for places, number, target, words in _put_together(expander, walk):
            late = known.get((*target, name))
            if late is not None:
                at = walk.bases[places] + walk.reached[places].steps[number] + 1
                yield at, (name, places, number, late.text, words[:1])


def _put_together(
    expander: Expander, walk: Walk
) -> Iterator[tuple[Places, int, tuple[Places, int], Words]]:
    """Yield from where to where several things are taken in one step, and which."""
    for places, one in walk.reached.items():
        graph = expander.graph(places)
        for number in one.order:
            for target, way in graph.edges(number):
                if len(way.words) > 1:
                    yield places, number, (places, target), way.words
            for gone, way in graph.exits(number):
                if len(way.words) > 1:
                    yield places, number, walk.leads[places, gone], way.words


def _apart(expander: Expander, walk: Walk, judge: Judge) -> Iterator[_Found]:
    """Judge what is done at every place: there steps have the bolts and rounds that they have."""
    for places, one in walk.reached.items():
        graph = expander.graph(places)
        for done in sorted({done for notes in one.notes for done in notes.done}):
            mask = 0
            for lane, (place, own) in enumerate(zip(places, done, strict=True)):
                mask |= expander.local.done_at(lane, place, own)
            broken = judge.judge_rounds(mask)
            if broken:
                number = next(n for n in one.order if done in graph.notes(n).done)
                at = walk.bases[places] + one.steps[number]
                yield at, (broken[0], places, number, broken[1], ())


def _path(
    expander: Expander,
    entries: Mapping[Places, Mapping[int, Came]],
    reached: Mapping[Places, Reach],
    places: Places,
    number: int,
) -> list[tuple[Places, Words]]:
    """Return what happened from the start to a state, each with the places where it did."""
    path: list[tuple[Places, Words]] = []
    while True:
        entry, inner = _inner_path(expander, entries[places], reached[places], places, number)
        path = [(places, words) for words in inner] + path
        came = entries[places][entry]
        if came.places is None:
            return path
        path = [(came.places, came.words), *path]
        places, number = came.places, came.number


def _inner_path(
    expander: Expander, entries: Mapping[int, Came], one: Reach, places: Places, number: int
) -> tuple[int, list[Words]]:
    """Return by which entry a state was reached first, and what happened from there."""
    graph = expander.graph(places)
    base = min(came.steps for came in entries.values())
    into: dict[int, list[tuple[int, Words]]] = {}
    for source in one.order:
        for target, way in graph.edges(source):
            into.setdefault(target, []).append((source, way.words))
    path: list[Words] = []
    while number not in entries or entries[number].steps - base != one.steps[number]:
        steps = one.steps[number]
        source, words = next(
            found for found in into[number] if one.steps[found[0]] == steps - len(found[1])
        )
        path.append(words)
        number = source
    return number, path[::-1]


def _happened(plan: Plan, expander: Expander, places: Places, word: Word) -> Happened:
    if word.lane < 0 or word.node is None:
        return Happened(word.lane, word.text, is_cause=word.is_cause)
    node = expander.pieces.sight(word.lane, places[word.lane])[word.node]
    return happened_at(plan, node, word.text, move=word.move, is_cause=word.is_cause)


def _say(plan: Plan, one: Happened) -> str:
    who = f"{plan.parties[one.lane].name} " if one.lane >= 0 else ""
    what = f": {one.step}" if one.step else ""
    return f"{who}{one.words}{what}" + (f" ({one.place})" if one.place else "")
