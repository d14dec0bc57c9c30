"""Keep what the page shows of a run: listens to the coordinator, tells one snapshot when asked.

Units: snapshots say them in every name; ``*_us`` microseconds since the run began.
Invariants: PG1, the page shows only what core, records and arms have said; its board decides
nothing; PG2, whatever came over the bus stands beside its age or the time that it is of.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coordinator.bolting.scatter import TORQUE_WRENCH_LUBRICATED_FRACTION, fraction_band_n
from coordinator.core.effects import Effect, Notify, RaisePrompt
from coordinator.core.events import (
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    CommandProgressed,
    Event,
    MessagesMissed,
)
from coordinator.core.plan import Plan
from coordinator.core.state import AT_BARRIER, ENDED, CoreFault, Doing, Lane, State
from coordinator.live.alarms import Alarms
from coordinator.live.caps_words import caps_words
from coordinator.live.explain import explain, steps_done
from coordinator.live.hold_stories import HoldStories
from coordinator.live.interlock_words import interlock_standing, interlock_words, reason_words
from coordinator.live.prompt_words import asked_words, caution_of
from coordinator.live.pull_words import Pull, pull_of
from coordinator.page.arms import ArmWatch, Geometry, act_words
from coordinator.page.courses import Course, Judged, Row, stage_of
from coordinator.page.present import acts_now, present
from coordinator.page.strip import StripWatch
from coordinator.records.acceptance import joint_points, wanted_proofs
from coordinator.sequence import JointFigures
from coordinator.wire.messages import Faulted, Finished, Message, Progressed, Value
from coordinator.wire.topics import FLOOR

NOTICES_MAX = 60
"""Chosen: a few screens; everything is in the journal."""
HOLDS_MAX = 3
OPEN_MAX = 40
STORY_LINES_MAX = 30
"""Chosen: what a person reads beside a run; the journal has all of it."""
Snapshot = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Facts:
    """What stays the same for a whole run."""

    run: str
    simulated: bool
    speed: float
    joint: JointFigures
    banner: str = "SIMULATED"
    """Who is simulated, in shadow or real."""
    caution: str = "SIMULATED: no steel is touched"
    geometry: Geometry | None = None
    parked: tuple[str, ...] = ()
    """Sides that are known to stand parked when the run begins."""
    begins: str = ""
    """How the joint is at the beginning, as the sequence says: `open` or `made_up`."""


class Board:
    """Listener of the coordinator and of the bus.

    Args:
        plan: Names everything.
        state: Before the first event.
        facts: Of the run.
        signs: What may be behind each fault kind, as the catalogue of causes says; handed in.
    """

    def __init__(
        self,
        plan: Plan,
        state: State,
        facts: Facts,
        signs: Mapping[str, Sequence[Mapping[str, str]]] | None = None,
    ) -> None:
        self._signs = signs or {}
        self._plan = plan
        self._state = state
        self._facts = facts
        self._notices: deque[dict[str, Any]] = deque(maxlen=NOTICES_MAX)
        self._raised: dict[int, RaisePrompt] = {}
        self._evidence: dict[str, Mapping[str, Value]] = {}
        self._courses: dict[str, Course] = {}
        self._bolts: dict[int, tuple[Row, int]] = {}
        self._judged: list[Judged] = []
        self._open_points: list[str] | None = None
        self._wanted = wanted_proofs(plan)
        self._at_us: dict[tuple[str, str], int] = {}
        """When something of a kind was heard of a party last."""
        self._missed: dict[tuple[str, bool], tuple[int, int]] = {}
        """How many messages are missing, and when that was noticed last."""
        self.alarms: Alarms | None = None
        self.stories: HoldStories | None = None
        """Listeners of the run, shown here where they are given."""
        self._foreseen: dict[int, list[str]] = {}
        self._strip = StripWatch(plan)
        self._arms = ArmWatch(plan, facts.geometry, facts.parked, facts.begins)

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        self._note_time(event)
        self._arms(event, effects)
        self._strip(event, effects, state)
        if state.phase != self._state.phase:
            text = f"the procedure is {state.phase}" + (f": {state.reason}" if state.reason else "")
            self._note(event.at_us, "note", "phase", text)
        self._state = state
        for effect in effects:
            if isinstance(effect, RaisePrompt):
                self._raised[effect.number] = effect
                self._at_us["prompt", str(effect.number)] = event.at_us
            elif isinstance(effect, Notify):
                self._note(event.at_us, effect.severity, effect.kind, effect.text)
        still = [prompt.number for prompt in state.prompts]
        self._raised = {number: self._raised[number] for number in still if number in self._raised}

    def _note_time(self, event: Event) -> None:
        """Keep when was heard what `hear` takes in without a time."""
        if isinstance(event, MessagesMissed):
            name = FLOOR if event.party < 0 else self._plan.parties[event.party].name
            before, _ = self._missed.get((name, event.by_party), (0, 0))
            self._missed[name, event.by_party] = before + event.missed, event.at_us
        elif isinstance(
            event, CommandProgressed | CommandFinished | CommandFaulted | CommandInterrupted
        ):
            name = self._plan.parties[event.party].name
            self._at_us["felt", name] = event.at_us
            if isinstance(event, CommandFaulted):
                self._at_us["evidence", name] = event.at_us

    def hear(self, message: Message) -> None:
        """Take in what a party says on the bus: samples and evidence, never decisions."""
        body = message.body
        if isinstance(body, Progressed):
            course = self._course(message.source, body.command)
            course.add(body.angle_rad, body.torque_nm, body.pressure_pa)
        elif isinstance(body, Faulted):
            self._evidence[message.source] = body.evidence
        if isinstance(body, Faulted | Finished) and body.trace is not None:
            self._course(message.source, body.command).retrace(body.trace)

    @property
    def has_ended(self) -> bool:
        """Tell whether the procedure has come to an end that nothing follows."""
        return self._state.phase in ENDED

    def foresee(self, number: int, lines: list[str]) -> None:
        """Take in what each answer to a prompt would lead to."""
        self._foreseen[number] = lines

    def take_record(self, row: Row, at_us: int) -> None:
        """Take in what was proved about a bolt, and when."""
        self._bolts[int(row["bolt"])] = row, at_us
        self._judged.append(Judged.of(row))
        self._open_points = None

    def snapshot(self, now_us: int) -> Snapshot:
        """Return everything that the page shows now."""
        plan, state, facts = self._plan, self._state, self._facts
        shown = {
            "run": facts.run,
            "sequence": plan.name,
            "joint": facts.joint.text,
            "simulated": facts.simulated,
            "banner": facts.banner,
            "caution": facts.caution,
            "speed": facts.speed,
            "at_s": round(now_us / 1e6, 1),
            "phase": state.phase,
            "reason": reason_words(plan, state, now_us),
            "mode": str(state.mode),
            "caps": caps_words(plan.caps),
            "overrides": self._overrides(now_us),
            "alarms": self._alarms(now_us),
            "holds": self._holds(),
            "lanes": self._lanes(now_us),
            "missed": self._missing(),
            "barriers": self._barriers(now_us),
            "interlocks": self._interlocks(now_us),
            "prompts": self._prompts(),
            "notices": list(self._notices),
            "bolts": [self._bolt(bolt) for bolt in range(1, facts.joint.bolt_count + 1)],
            "pull": self._pull(),
            "cell": self._arms.cell(state.lanes),
            "strip": self._strip.shown(now_us),
            "acts": acts_now(plan, state, now_us),
            "joint_verdict": self._verdict(),
        }
        return {**shown, "now": present(shown)}

    def _verdict(self) -> dict[str, Any] | None:
        """Return whether the joint is accepted, once the procedure has ended; None before."""
        if not self.has_ended or not self._wanted:
            return None
        is_complete = self._state.phase == "complete"
        if self._open_points is None:
            self._open_points = joint_points(self._judged, self._wanted, self._facts.joint)
        points = self._open_points
        return {"is_accepted": is_complete and not points, "open": points[:OPEN_MAX]}

    def _note(self, at_us: int, severity: str, kind: str, text: str) -> None:
        if kind != "barrier_passed":
            at_s = round(at_us / 1e6, 1)
            self._notices.append({"at_s": at_s, "severity": severity, "kind": kind, "text": text})

    def _course(self, side: str, command: int) -> Course:
        course = self._courses.get(side)
        if course is None or course.command != command:
            course = self._courses[side] = Course.of(command)
        return course

    def _lanes(self, now_us: int) -> list[dict[str, Any]]:
        lanes = []
        for index, words in enumerate(explain(self._plan, self._state, now_us)):
            lane, act = self._state.lanes[index], self._arms.act_of(index, self._state.lanes[index])
            following = next(
                (n for n in self._plan.lanes[index] if _is_ahead(self._plan, lane, n)), -1
            )
            ahead = None if following < 0 else self._plan.nodes[following].move
            done = [node for node in self._plan.lanes[index] if lane.is_done(node)]
            steps = steps_done(self._plan, index, lane)
            lanes.append(
                {
                    "name": words.name,
                    "is_arm": self._plan.parties[index].is_arm,
                    "doing": words.doing,
                    "unmet": list(words.unmet),
                    "since_s": round(max(now_us - words.since_us, 0) / 1e6, 1),
                    "next": words.next,
                    "act": act,
                    "is_waiting": lane.phase in AT_BARRIER or lane.doing is Doing.STAND,
                    "next_act": None if ahead is None else act_words(ahead),
                    "is_online": lane.party.online,
                    "is_held": lane.rest.held,
                    "is_faulted": bool(lane.at.fault) and lane.at.fault != CoreFault.HOLD_POINT,
                    "seen_s": round(max(now_us - lane.party.seen_us, 0) / 1e6, 1),
                    "done": steps[0],
                    "steps": steps[1],
                    "last_done": done[-1] if done else -1,
                }
            )
        return lanes

    def _time_of(self, kind: str, name: str) -> float | None:
        at_us = self._at_us.get((kind, name))
        return None if at_us is None else _seconds(at_us)

    def _missing(self) -> list[dict[str, Any]]:
        return [
            {"party": name, "by_party": by_party, "messages": count, "at_s": _seconds(at_us)}
            for (name, by_party), (count, at_us) in self._missed.items()
        ]

    def _barriers(self, now_us: int) -> list[dict[str, Any]]:
        shown = []
        for index, barrier in enumerate(self._plan.barriers):
            meeting = self._state.meetings[index]
            here = [
                self._state.lanes[lane].node == node
                for lane, node in zip(barrier.lanes, barrier.nodes, strict=True)
            ]
            if not any(here):
                continue
            parties = []
            for lane, is_here in zip(barrier.lanes, here, strict=True):
                phase, since_us = self._state.lanes[lane].phase, self._state.lanes[lane].since_us
                word = phase if is_here and phase in ("arming", "armed") else "here"
                name = self._plan.parties[lane].name
                parties.append(
                    {
                        "name": name,
                        "state": word if is_here else "missing",
                        "at_s": _seconds(since_us),
                    }
                )
            left_s = round((meeting.deadline_us - now_us) / 1e6, 1) if meeting.deadline_us else None
            shown.append(
                {"name": barrier.name, "phase": meeting.phase, "parties": parties, "left_s": left_s}
            )
        return shown

    def _interlocks(self, now_us: int) -> list[dict[str, Any]]:
        shown = []
        for index, one in enumerate(self._plan.interlocks):
            signal = self._state.signals[one.signal]
            age_us = now_us - signal.seen_us if signal.seen_us >= 0 else None
            shown.append(
                {
                    "name": one.name,
                    "signal": self._plan.signals[one.signal].name,
                    "kind": one.kind.value,
                    "value": interlock_standing(self._plan, self._state, index, now_us),
                    "words": interlock_words(self._plan, self._state, index, now_us),
                    "age_s": None if age_us is None else round(age_us / 1e6, 1),
                    "is_latched": self._state.tripped[index],
                    "is_first_out": self._state.first_out == index,
                    "cause": one.cause,
                    "consequence": one.consequence,
                    "operator_action": one.operator_action,
                }
            )
        return shown

    def _overrides(self, now_us: int) -> list[dict[str, Any]]:
        return [
            {
                "name": self._plan.interlocks[one.interlock].name,
                "who": one.who,
                "why": one.why,
                "left_s": max(0, round((one.until_us - now_us) / 1e6)),
            }
            for one in self._state.overrides
        ]

    def _alarms(self, now_us: int) -> list[dict[str, Any]]:
        standing = () if self.alarms is None else self.alarms.standing()
        return [
            {
                "name": one.name,
                "state": one.state,
                "is_first": one.is_first,
                "since_s": max(0, round((now_us - one.since_us) / 1e6)),
                "cause": one.cause,
                "consequence": one.consequence,
                "operator_action": one.operator_action,
                "who": one.who,
                "why": one.why,
            }
            for one in standing
        ]

    def _holds(self) -> list[list[str]]:
        """Return the last holds as stories, the latest first."""
        told = [] if self.stories is None else self.stories.told[-HOLDS_MAX:]
        return [one.lines()[:STORY_LINES_MAX] for one in reversed(told)]

    def _prompts(self) -> list[dict[str, Any]]:
        return [self._prompt(raised) for raised in self._raised.values()]

    def _prompt(self, raised: RaisePrompt) -> dict[str, Any]:
        known = self._plan.prompts[raised.prompt] if raised.prompt >= 0 else None
        meanings = {} if known is None else {str(key): text for key, text in known.options}
        side = self._plan.parties[raised.party].name
        asked_at_s = self._time_of("prompt", str(raised.number))
        return {
            "number": raised.number,
            "side": side,
            "step": self._plan.nodes[raised.node].name,
            "fault": raised.fault,
            "about": self._about(raised.node),
            "text": asked_words(self._plan, raised.prompt),
            "caution": caution_of(self._plan, raised.prompt),
            "owner": next(
                (one.owner for one in self._state.prompts if one.number == raised.number), ""
            ),
            "evidence": {
                **{
                    key: value if isinstance(value, str) else f"{value:.6g}"
                    for key, value in raised.evidence
                },
                **{key: str(value) for key, value in self._evidence.get(side, {}).items()},
            },
            # What the run has counted itself is as old as the question.
            "evidence_at_s": self._time_of("evidence", side) or asked_at_s,
            "asked_at_s": asked_at_s,
            "causes": list(self._signs.get(raised.fault, ())),
            "foreseen": self._foreseen.get(raised.number, []),
            "options": [
                {"option": str(option), "meaning": meanings.get(str(option), "")}
                for option in raised.options
            ],
        }

    def _about(self, node: int) -> dict[str, Any] | None:
        move = self._plan.nodes[node].move if node >= 0 else None
        return None if move is None else act_words(move)

    def _bolt(self, bolt: int) -> dict[str, Any]:
        known, side = self._bolts.get(bolt), self._side_of(bolt)
        if known is None:
            word = "nothing proved yet"
            none = {"bolt": bolt, "side": side, "state": "open", "stage": "pending"}
            return {**none, "word": word, "at_s": None}
        row, at_us = known
        torque_nm = row["torque_nm"]
        shown = {
            "bolt": bolt,
            "side": row["side"],
            "state": "good" if row["verdict"] == "accepted" else "bad",
            "word": f"{row['kind']} {row['round'] or ''} {row['verdict'].replace('_', ' ')}",
            "at_s": _seconds(at_us),
            "kind": row["kind"],
            "stage": stage_of(row),
            "round": row["round"] or 0,
            "torque_nm": None if torque_nm is None else round(torque_nm),
            "share": min(1.0, (torque_nm or 0.0) / self._facts.joint.torque_nm),
        }
        if torque_nm and row["target_nm"]:
            band = fraction_band_n(
                self._facts.joint.preload_at_n(torque_nm), TORQUE_WRENCH_LUBRICATED_FRACTION
            )
            shown["preload_kn"] = [round(band.low_n / 1e3), round(band.high_n / 1e3)]
        return shown

    def _side_of(self, bolt: int) -> str:
        own = any(first == bolt for first, _ in self._facts.joint.pairs)
        return self._plan.parties[0 if own else 1].name

    def _pull(self) -> dict[str, Any]:
        pulled = pull_of(self._plan, self._state)
        apart_nm = None if pulled is None else self._apart_nm(pulled)
        return {
            "balance_nm": pulled.balance_nm if pulled else round(self._facts.joint.balance_nm),
            "is_paired": pulled is not None and pulled.is_together,
            "is_wide": apart_nm is not None and pulled is not None and pulled.is_wide(apart_nm),
            "words": "" if pulled is None else pulled.words(apart_nm),
            "target_nm": self._target_nm(),
            "round": self._round(),
            "rounds": len(self._facts.joint.rounds),
            "bolts": self._pulled_bolts(pulled),
            "at_s": {side: self._time_of("felt", side) for side in sorted(self._courses)},
            "courses": {
                side: [list(point) for point in course.points]
                for side, course in sorted(self._courses.items())
                if course.points
            },
        }

    def _pulled_bolts(self, pulled: Pull | None) -> dict[str, int]:
        """Return the bolt that each side pulls now."""
        found = {}
        for lane in () if pulled is None else pulled.pulling:
            record = self._plan.nodes[self._state.lanes[lane].node].record
            if record is not None:
                found[self._plan.parties[lane].name] = record.bolt
        return found

    def _round(self) -> int:
        """Return the round of what is pulled now, 0 outside rounds."""
        nodes = (lane.node for lane in self._state.lanes if lane.node >= 0)
        records = (self._plan.nodes[node].record for node in nodes)
        return max((one.round for one in records if one is not None), default=0)

    def _apart_nm(self, pulled: Pull) -> float | None:
        """Return how far apart both torques are, by what both have felt in this very pull."""
        last = []
        for lane in pulled.pulling:
            course = self._courses.get(self._plan.parties[lane].name)
            is_this = course is not None and course.command == self._state.lanes[lane].command
            if course is None or not is_this or not course.points:
                return None
            last.append(course.points[-1][1])
        return max(last) - min(last) if pulled.is_together else None

    def _target_nm(self) -> int:
        """Return what is being pulled to, 0 while nothing is."""
        targets = [
            record.target_nm
            for lane in self._state.lanes
            if lane.node >= 0 and (record := self._plan.nodes[lane.node].record) is not None
        ]
        return round(max(targets, default=0.0))


def _is_ahead(plan: Plan, lane: Lane, node: int) -> bool:
    return plan.nodes[node].move is not None and not lane.is_done(node) and node != lane.node


def _seconds(at_us: int) -> float:
    return round(at_us / 1e6, 1)
