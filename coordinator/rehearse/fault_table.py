"""Find the failure-mode table of a sequence by rehearsing every row.

A row is a cause of the catalogue at the first step of each action at which it may show; what it is
detected by, what follows and how it ends is what the core did about it in virtual time, with people
who answer `again` and restart. Nothing of it is written by hand.

Units: ``*_us`` whole microseconds since the run began; ``*_s`` seconds.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coordinator.core.effects import Effect, Notify, SendDo, SendRelease
from coordinator.core.events import CommandFinished, Event
from coordinator.core.plan import Node
from coordinator.core.state import State
from coordinator.rehearse.mates import helping
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.sequence import Case, CaseCause, Loaded
from sim_arms.causes import CATALOGUE, CauseKind

LASTS_US = 20_000_000
"""Chosen: a cause that has a moment lasts longer than any detection and is then put right."""
AFTER_US = 200_000
"""Chosen: the cause comes when the step has just begun."""
RESPONSES = {
    "fault": "the step fails",
    "span_again": "both sides go back and start again together",
    "prompt": "a person is asked",
    "first_out": "first-out is latched",
    "hold": "everybody holds",
    "party_lost": "the party counts as lost",
    "party_restarted": "the party is asked what it did",
    "restart": "a person restarts",
    "abort": "everybody aborts",
    "out_of_balance": "the balance band is left",
    "out_of_step": "the starts are too far apart",
}
Spells = dict[int, tuple[int, int]]
"""When each step begins and ends, in µs of the run; a step that never ends, ends as it begins."""
TEST = "tests/scenario/test_fault_table.py"


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One failure mode: a cause at a step, and what became of it."""

    cause: str
    effect: str
    step: str
    detected_by: str
    response: str
    ends: str
    """unseen, recovered, recovered with a person, held, aborted."""
    within_s: float
    """From the cause's first sign to its end; 0 where nothing showed."""
    test: str


@dataclass(frozen=True, slots=True)
class Mode:
    """A cause at a step, to be tried."""

    kind: CauseKind
    node: Node
    side: str
    begins_us: int
    ends_us: int


def fault_modes(loaded: Loaded, seed: int, causes: Sequence[str] = ()) -> tuple[Mode, ...]:
    """Return catalogue times sequence: each cause at the first step of every action it fits."""
    spells = spells_of(loaded, seed)
    modes = []
    for kind in CATALOGUE.values():
        if causes and kind.name not in causes:
            continue
        seen: list[str] = []
        for index, node in enumerate(loaded.plan.nodes):
            action = "" if node.move is None else node.move.action
            if not action or action in seen or index not in spells:
                continue
            if seen and kind.applies_to == "bolt":
                break  # It is there from the beginning: the first step that meets it counts.
            if fits(loaded, kind, node, action):
                seen.append(action)
                side = loaded.plan.parties[node.lane].name
                modes.append(Mode(kind, node, side, *spells[index]))
    return tuple(modes)


def fault_row(loaded: Loaded, mode: Mode, seed: int) -> FaultRow:
    """Rehearse one failure mode and return its row."""
    case = Case("row", causes=(cause_of(mode),))
    result = rehearse(loaded, seed=seed, case=case, people=helping(loaded.plan))
    shown = [(at, one) for at, one in result.notices if _is_sign(one)]
    first = shown[0][1].text if shown else "nothing shows"
    last_us = result.time_us if result.phase != "complete" else (shown[-1][0] if shown else 0)
    return FaultRow(
        cause=mode.kind.name,
        effect=mode.kind.text,
        step=mode.node.name,
        detected_by=first,
        response=", then ".join(_responses(result)) or "none is needed",
        ends=_ends(result, is_shown=bool(shown)),
        within_s=round((last_us - shown[0][0]) / 1e6, 1) if shown else 0.0,
        test=f"{TEST}[{mode.kind.name}]",
    )


def fits(loaded: Loaded, kind: CauseKind, node: Node, action: str) -> bool:
    """Tell whether a cause may show at a step: by its faults, or anywhere if it is of no step."""
    model = loaded.cell.actions[action]
    if kind.applies_to == "bolt":
        is_about = any(name == "bolt" for name, _ in node.move.parameters) if node.move else False
        return is_about and bool(set(model.raises) & set(kind.shows_as) or node.windows)
    if kind.applies_to == "side" and kind.name != "slow_arm":
        found = {*model.raises, *(window.fault for window in node.windows)}
        if node.span >= 0:
            found.add("out_of_balance")
        return not kind.shows_as or bool(found & set(kind.shows_as))
    return model.by == "arm" or not kind.placed


def spells_of(loaded: Loaded, seed: int) -> Spells:
    """Rehearse with nothing wrong; return when each step first begins and ends."""
    begins: dict[int, int] = {}
    ends: dict[int, int] = {}
    sent: dict[int, int] = {}

    def note(event: Event, effects: tuple[Effect, ...], state: State) -> None:
        if isinstance(event, CommandFinished) and event.command in sent:
            ends.setdefault(sent[event.command], event.at_us)
        for effect in effects:
            if isinstance(effect, SendDo):
                sent[effect.command] = effect.node
                if effect.barrier < 0:
                    begins.setdefault(effect.node, event.at_us)
            elif isinstance(effect, SendRelease):
                begins.setdefault(sent[effect.command], effect.start_us)

    rehearse(loaded, seed=seed, people=helping(loaded.plan), listeners=(note,))
    return {node: (at_us, ends.get(node, at_us)) for node, at_us in begins.items()}


def cause_of(mode: Mode) -> CaseCause:
    """Return the cause of a mode, placed and timed so that the step meets it."""
    kind, at_us = mode.kind, mode.begins_us + AFTER_US
    if kind.applies_to == "bolt":
        values = dict(mode.node.move.parameters) if mode.node.move else {}
        return CaseCause(kind.name, bolt=int(values["bolt"]))
    if kind.applies_to == "process":
        return CaseCause(kind.name, mode.side, at_us=at_us)
    if kind.applies_to == "side":
        # What acts when an action begins, or at its end, must be there by then.
        begins_us = max(0, mode.begins_us - AFTER_US)  # A case begins with the run.
        for_us = max(LASTS_US, mode.ends_us - begins_us)
        return CaseCause(kind.name, mode.side, at_us=begins_us, for_us=for_us)
    side = mode.side if kind.placed else None
    return CaseCause(kind.name, side, at_us=at_us, for_us=LASTS_US)


def _is_sign(notice: Notify) -> bool:
    return notice.severity in ("warning", "alarm")


def _responses(result: Rehearsal) -> list[str]:
    words = [RESPONSES[one.kind] for _, one in result.notices if one.kind in RESPONSES]
    return list(dict.fromkeys(words))


def _ends(result: Rehearsal, *, is_shown: bool) -> str:
    if result.phase != "complete":
        return "held" if result.phase == "holding" else result.phase
    kinds = [one.kind for _, one in result.notices]
    if "answered" in kinds or "restart" in kinds:
        return "recovered with a person"
    return "recovered" if is_shown else "unseen"
