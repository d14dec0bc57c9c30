"""Make the chart of a sequence as its author wrote it: loops and blocks are frames."""

from collections.abc import Sequence

from coordinator.draw.chart import BoltPlace, Box, Chart, Frame, Gate, Lane, Mark, Note
from coordinator.draw.words import (
    barrier_words,
    facts_of,
    place_words,
    plain,
    point_words,
    result_words,
    rule_words,
)
from coordinator.packaged import read_tables
from coordinator.sequence import Loaded
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.sequence_model import (
    BarrierStep,
    DoStep,
    EachStep,
    Parameters,
    PointStep,
    Step,
    UseStep,
)

_WORDS: dict[str, dict[str, str]] = read_tables("coordinator.draw", "words")

Names = dict[str, str]


def to_chart(loaded: Loaded) -> Chart:
    """Return the chart of a sequence with its loops folded."""
    folder, lanes = _Folder(loaded), loaded.sequence.lanes
    marks = [folder.lane(party.name, lanes.get(party.name, ())) for party in loaded.plan.parties]
    return chart_of(loaded, marks)


def chart_of(
    loaded: Loaded, marks: Sequence[tuple[Mark, ...]], *, is_unrolled: bool = False
) -> Chart:
    """Return the chart of a sequence with the marks of each lane."""
    sides = loaded.cell.sides
    return Chart(
        title=plain(loaded.plan.name),
        text=loaded.sequence.text,
        facts=facts_of(loaded),
        lanes=tuple(
            Lane(
                party.name,
                party.is_arm,
                tuple(sides[party.name].tools) if party.name in sides else (),
                of_lane,
            )
            for party, of_lane in zip(loaded.plan.parties, marks, strict=True)
        ),
        bolts=_bolt_places(loaded),
        notes=_notes_of(loaded),
        is_unrolled=is_unrolled,
    )


def _bolt_places(loaded: Loaded) -> tuple[BoltPlace, ...]:
    """Return the bolts in the order of their numbers."""
    places = [
        BoltPlace(bolt, lane, turn)
        for turn, pair in enumerate(loaded.joint.pairs, 1)
        for lane, bolt in enumerate(pair)
    ]
    return tuple(sorted(places, key=lambda one: one.number))


class _Folder:
    """Walks the steps as written; block parameters are replaced by what they are given."""

    def __init__(self, loaded: Loaded) -> None:
        self._loaded = loaded
        self._side = 0
        self._values = {f"${name}": _said(one, {}) for name, one in loaded.values.items()}
        plan = loaded.plan
        self._barriers = {one.name.partition(" (")[0]: one for one in reversed(plan.barriers)}
        self._closes = {
            one.paired_until: True for one in loaded.sequence.barriers.values() if one.paired_until
        }

    def lane(self, name: str, steps: tuple[Step, ...]) -> tuple[Mark, ...]:
        """Return the marks of a lane."""
        self._side = [party.name for party in self._loaded.plan.parties].index(name)
        return self._marks(steps, ("lanes", name), self._values, ())

    def _marks(
        self, steps: tuple[Step, ...], trail: Trail, names: Names, loops: tuple[str, ...]
    ) -> tuple[Mark, ...]:
        return tuple(
            self._mark(step, (*trail, number), names, loops) for number, step in enumerate(steps)
        )

    def _mark(self, step: Step, trail: Trail, names: Names, loops: tuple[str, ...]) -> Mark:
        match step:
            case DoStep():
                return self._box(step, trail, names)
            case PointStep():
                return self._point(step, trail)
            case BarrierStep():
                return self._gate(step, trail, loops)
            case UseStep():
                block = self._loaded.sequence.blocks[step.use]
                given = {f"${key}": _said(value, names) for key, value in step.with_.items()}
                inside = ("blocks", step.use, "steps")
                marks = self._marks(block.steps, inside, self._values | given, loops)
                return Frame("block", plain(step.use), marks, self._despite(step.exceptions))
            case EachStep():
                title = _loop_words(step, names)
                if not self._has_any(step, names):
                    return Frame("loop", f"{title}: this side has none", ())
                marks = self._marks(step.steps, (*trail, "steps"), names, (*loops, step.each))
                return Frame("loop", title, marks, self._despite(step.exceptions))

    def _has_any(self, step: EachStep, names: Names) -> bool:
        """Return whether the side has any of the bolts that a loop keeps to."""
        if step.each != "own_bolt" or step.only is None:
            return True
        own = [str(pair[self._side]) for pair in self._loaded.joint.pairs]
        only = [_said(one, names) for one in step.only]
        return any(one in own or not one.isdigit() for one in only)

    def _gate(self, step: BarrierStep, trail: Trail, loops: tuple[str, ...]) -> Gate:
        model = self._loaded.sequence.barriers[step.barrier]
        met = self._barriers.get(step.barrier)
        return Gate(
            key=(step.barrier, loops),
            title=plain(step.barrier),
            details=() if met is None else barrier_words(self._loaded.plan, met),
            opens=plain(model.paired_until or ""),
            is_close=step.barrier in self._closes,
            place=self._place(trail),
        )

    def _point(self, step: PointStep, trail: Trail) -> Box:
        model = self._loaded.sequence.points[step.point]
        return Box(
            title=f"{model.kind} point: {plain(step.point)}",
            details=point_words(model),
            id=step.id or "",
            after=step.after,
            place=self._place(trail),
            is_point=True,
        )

    def _box(self, step: DoStep, trail: Trail, names: Names) -> Box:
        action = self._loaded.cell.actions[step.do]
        tool = next((name for name, kind in action.takes.items() if kind == "tool"), None)
        return Box(
            title=plain(step.do),
            details=self._details(step, names),
            despite=self._despite(step.exceptions),
            mounts=_said(step.with_[tool], names) if tool in step.with_ else "",
            id=step.id or "",
            after=step.after,
            place=self._place(trail),
        )

    def _details(self, step: DoStep, names: Names) -> tuple[str, ...]:
        details = [_given(step.with_, names)] if step.with_ else []
        details += [
            f"accepts {result_words(result)} from {_said(least, names)} to {_said(most, names)}"
            for result, (least, most) in step.expect.items()
        ]
        zone = self._loaded.cell.actions[step.do].zone
        if zone is not None:
            details.append(f"in zone {plain(zone)}, alone")
        if step.permissives:
            details.append(f"starts only with {', '.join(map(plain, step.permissives))} good")
        if step.policy is not None:
            details.append(f"on fault: {plain(step.policy)}")
        return tuple(details)

    def _place(self, trail: Trail) -> str:
        return place_words(self._loaded.document.origin(trail))

    def _despite(self, names: tuple[str, ...]) -> tuple[str, ...]:
        known = self._loaded.sequence.exceptions
        return tuple(plain(known[name].interlock) for name in names)


def _notes_of(loaded: Loaded) -> tuple[Note, ...]:
    """Return what follows which fault, and why something may move despite an interlock."""
    model = loaded.sequence
    policies = tuple(
        (plain(name), "; ".join(rule_words(fault, rule) for fault, rule in rules.items()))
        for name, rules in model.policies.items()
    )
    despite = tuple(
        (plain(one.interlock), f"{plain(name)}: {one.reason}")
        for name, one in model.exceptions.items()
    )
    notes = (Note("On fault", policies), Note("Despite an interlock, because", despite))
    return tuple(note for note in notes if note.rows)


def _loop_words(step: EachStep, names: Names) -> str:
    if step.only is None:
        return _WORDS["loops"][step.each]
    return f"{_WORDS['only'][step.each]} {', '.join(_said(one, names) for one in step.only)}"


def _given(parameters: Parameters, names: Names) -> str:
    """Write parameters: `bolt: this side's bolt, torque: the round's torque`."""
    return ", ".join(f"{plain(key)}: {_said(value, names)}" for key, value in parameters.items())


def _said(written: object, names: Names) -> str:
    """Return a written value; references become what they stand for, as far as they are known."""
    text = ("yes" if written else "no") if isinstance(written, bool) else str(written)
    if text in names:
        return names[text]
    if text in _WORDS["references"]:
        return _WORDS["references"][text]
    if text.startswith("$joint."):
        return f"the joint's {plain(text.removeprefix('$joint.'))}"
    return text.replace("N.m", "N·m")
