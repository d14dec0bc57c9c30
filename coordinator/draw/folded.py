"""Make the chart of a sequence as its author wrote it: loops and blocks are frames."""

from coordinator.draw.chart import BoltPlace, Box, Chart, Frame, Gate, Lane, Mark, Note
from coordinator.draw.words import barrier_words, facts_of, plain, result_words, rule_words
from coordinator.sequence import Loaded
from coordinator.sequence.sequence_model import (
    BarrierStep,
    DoStep,
    EachStep,
    Parameters,
    Step,
    UseStep,
)

_LOOPS = {
    "own_bolt": "for each bolt of this side",
    "pair": "for each pair of opposite bolts",
    "round": "for each round",
}
_REFERENCES = {
    "$own_bolt": "this bolt",
    "$pair.own": "this side's bolt",
    "$pair.other": "the opposite bolt",
    "$pair.neighbour": "the next bolt",
    "$pair.other_neighbour": "the bolt before",
    "$pair.number": "the pair's number",
    "$round.number": "the round's number",
    "$round.torque": "the round's torque",
    "$round.torque_least": "the round's least",
    "$round.torque_most": "the round's most",
    "$round.share": "the round's share",
}

Names = dict[str, str]


def to_chart(loaded: Loaded) -> Chart:
    """Return the chart of a sequence with its loops folded."""
    folder = _Folder(loaded)
    model = loaded.sequence
    return Chart(
        title=plain(model.sequence),
        text=model.text,
        facts=facts_of(loaded),
        lanes=tuple(
            Lane(
                party.name,
                party.is_arm,
                tools_of(loaded, party.name),
                folder.marks(model.lanes.get(party.name, ()), {}, ()),
            )
            for party in loaded.plan.parties
        ),
        bolts=bolt_places(loaded),
        notes=notes_of(loaded),
    )


def tools_of(loaded: Loaded, side: str) -> tuple[str, ...]:
    """Return the tools of a side; none for the hoist."""
    found = loaded.cell.sides.get(side)
    return () if found is None else tuple(found.tools)


def bolt_places(loaded: Loaded) -> tuple[BoltPlace, ...]:
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
        self._closes = {
            one.paired_until: True for one in loaded.sequence.barriers.values() if one.paired_until
        }

    def marks(
        self, steps: tuple[Step, ...], names: Names, loops: tuple[str, ...]
    ) -> tuple[Mark, ...]:
        """Return the marks of a list of steps."""
        return tuple(self._mark(step, names, loops) for step in steps)

    def _mark(self, step: Step, names: Names, loops: tuple[str, ...]) -> Mark:
        match step:
            case DoStep():
                return self._box(step, names)
            case BarrierStep():
                return self._gate(step, loops)
            case UseStep():
                block = self._loaded.sequence.blocks[step.use]
                given = {f"${key}": _said(value, names) for key, value in step.with_.items()}
                inside = self.marks(block.steps, given, loops)
                return Frame("block", plain(step.use), inside, self._despite(step.exceptions))
            case EachStep():
                inside = self.marks(step.steps, names, (*loops, step.each))
                return Frame("loop", _LOOPS[step.each], inside, self._despite(step.exceptions))

    def _gate(self, step: BarrierStep, loops: tuple[str, ...]) -> Gate:
        model = self._loaded.sequence.barriers[step.barrier]
        return Gate(
            key=(step.barrier, loops),
            title=plain(step.barrier),
            details=barrier_words(model),
            opens=plain(model.paired_until or ""),
            is_close=step.barrier in self._closes,
        )

    def _box(self, step: DoStep, names: Names) -> Box:
        action = self._loaded.cell.actions[step.do]
        details = []
        if step.with_:
            details.append(_given(step.with_, names))
        details += [
            f"accepts {result_words(result)} from {_said(least, names)} to {_said(most, names)}"
            for result, (least, most) in step.expect.items()
        ]
        if action.zone is not None:
            details.append(f"in zone {plain(action.zone)}, alone")
        if step.policy is not None:
            details.append(f"on fault: {plain(step.policy)}")
        tool = next((name for name, kind in action.takes.items() if kind == "tool"), None)
        return Box(
            title=plain(step.do),
            details=tuple(details),
            despite=self._despite(step.exceptions),
            mounts=_said(step.with_[tool], names) if tool in step.with_ else "",
            id=step.id or "",
            after=step.after,
        )

    def _despite(self, names: tuple[str, ...]) -> tuple[str, ...]:
        known = self._loaded.sequence.exceptions
        return tuple(plain(known[name].interlock) for name in names)


def notes_of(loaded: Loaded) -> tuple[Note, ...]:
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


def _given(parameters: Parameters, names: Names) -> str:
    """Write parameters: `bolt: this side's bolt, torque: the round's torque`."""
    return ", ".join(f"{plain(key)}: {_said(value, names)}" for key, value in parameters.items())


def _said(written: object, names: Names) -> str:
    """Return a written value; references become what they stand for, as far as they are known."""
    text = ("yes" if written else "no") if isinstance(written, bool) else str(written)
    if text in names:
        return names[text]
    if text in _REFERENCES:
        return _REFERENCES[text]
    if text.startswith("$joint."):
        return f"the joint's {plain(text.removeprefix('$joint.'))}"
    return text.replace("N.m", "N·m")
