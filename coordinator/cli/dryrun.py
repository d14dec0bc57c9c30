"""The verb `dryrun`: rehearse in virtual time, and tell how it went."""

from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from rich.table import Table

from coordinator.cautions import CAUTION
from coordinator.cli.asked import DryRunAsked
from coordinator.cli.files import load_answers, load_capped, load_case
from coordinator.cli.output import Exit, Output, counted
from coordinator.core.events import Event
from coordinator.core.plan import Plan
from coordinator.live.alarms import Alarms, alarm_words
from coordinator.live.caps_words import caps_words
from coordinator.live.hold_stories import HoldStories
from coordinator.operate.calibration import calibrations_of
from coordinator.records.acceptance import joint_points, wanted_proofs
from coordinator.records.journal import JournalFailed
from coordinator.records.rows import Run
from coordinator.records.write import ToolFacts, to_row
from coordinator.rehearse.clearance import Nearest, nearest
from coordinator.rehearse.look_ahead import as_document
from coordinator.rehearse.rehearsal import Rehearsal, Rehearsed, rehearse
from coordinator.rehearse.simulated import unknown_to_simulation
from coordinator.sequence import Loaded
from coordinator.wire.codec import to_time
from coordinator.wire.messages import Trace


@dataclass(frozen=True, slots=True)
class Row:
    """A record as the rehearsal shows it."""

    bolt: int
    kind: str
    round: int
    verdict: str
    outcome: str
    torque_nm: float | None
    angle_rad: float | None
    trace_torque_nm: tuple[float, ...]
    trace_angle_rad: tuple[float, ...]


def dry_run(output: Output, path: Path, asked: DryRunAsked) -> Exit:
    """Rehearse a sequence and print how it ended."""
    loaded = load_capped(output, path, asked.joint, asked.caps)
    case = load_case(output, asked.case, loaded)
    people = load_answers(output, asked.answer)
    if unknown := unknown_to_simulation(loaded):
        return output.refuse(unknown)
    lines: list[str] = []
    events: list[Event] = []
    alarms, stories = Alarms(loaded.plan), HoldStories(loaded.plan)
    result = rehearse(
        loaded,
        seed=asked.seed,
        case=case,
        people=people,
        write_line=lines.append,
        look_ahead=asked.look_ahead,
        mode=asked.mode,
        listeners=(lambda event, _effects, _state: events.append(event), alarms, stories),
    )
    rows = record_rows(loaded, result)
    points = joint_points(rows, wanted_proofs(loaded.plan), loaded.joint)
    near = nearest(result)
    points += [f"{one.first} and {one.second} touch" for one in near if one.gap_m < 0.0]
    kept = Rehearsed(path, asked.joint, loaded, result, tuple(events), asked.seed)
    if asked.out is not None and (wrong := _leave(asked.out, lines, kept)):
        return output.refuse(wrong)
    _print(output, loaded, result, points)
    _print_beside(output, alarms, stories, near)
    output.document(
        **told(loaded, result, points),
        records=len(rows),
        seed=asked.seed,
        mode=asked.mode.value,
        holds=[asdict(story) for story in stories.told],
        alarms=[asdict(alarm) for alarm in alarms.standing()],
        least_clearance=[asdict(one) for one in near],
    )
    return _exit(result, points)


def _exit(result: Rehearsal, points: list[str]) -> Exit:
    if result.phase != "complete":
        return Exit.HELD
    return Exit.FINDINGS if points else Exit.GOOD


def told(loaded: Loaded, result: Rehearsal, points: list[str]) -> dict[str, Any]:
    """Return what is told of a rehearsal to scripts."""
    return {
        "ok": result.phase == "complete" and not points,
        "ended": result.phase,
        "reason": result.reason,
        "time_us": result.time_us,
        "open_points": points,
        "deliveries": result.deliveries,
        "trace_sha256": result.trace_sha256,
        "plan_digest": loaded.plan.digest,
        "notices": [
            {"at_us": at_us, "severity": one.severity, "kind": one.kind, "text": one.text}
            for at_us, one in result.notices
        ],
        "foreseen": as_document(result.foreseen),
        "simulated": True,
        "caps": asdict(loaded.plan.caps),
    }


def record_rows(loaded: Loaded, result: Rehearsal) -> list[Row]:
    """Return the records of a rehearsal, each judged."""
    run = Run(
        "dryrun",
        loaded.joint.name,
        loaded.plan.name,
        tolerance=loaded.joint.tolerance,
        tools=calibrations_of(loaded),
    )
    rows = []
    for proof in result.proofs:
        facts = ToolFacts(proof.trace or Trace(), proof.tool, True, to_time(proof.at_us))
        row = to_row(loaded.plan, run, proof.effect, facts)
        if row is not None:
            rows.append(Row(**{one.name: _frozen(row[one.name]) for one in fields(Row)}))
    return rows


# Any: values of a row.
def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _leave(out: Path, lines: list[str], rehearsed: Rehearsed) -> str:
    """Write everything into a folder; return what is wrong, empty if nothing."""
    # Imported here: a rehearsal that keeps nothing needs no database.
    from coordinator.operate.keeping import keep_rehearsal
    from coordinator.records.store import RecordsFailed

    try:
        _write(out, lines, rehearsed.result)
        keep_rehearsal(out, rehearsed)
    except OSError as error:
        return f"{out}: {error.strerror}; name another folder"
    except (JournalFailed, RecordsFailed) as error:
        return str(error)
    return ""


def _print(output: Output, loaded: Loaded, result: Rehearsal, points: list[str]) -> None:
    output.say(f"SIMULATED: {caps_words(loaded.plan.caps)}{loaded.plan.name}. {CAUTION}")
    table = Table("at", "what", "text", box=None, pad_edge=False)
    for at_us, notice in result.notices:
        if notice.kind != "barrier_passed":
            table.add_row(clock(at_us), notice.severity, notice.text)
    output.people.print(table)
    for at_us, opened, outlooks in result.foreseen:
        output.say(f"{clock(at_us)} prompt {opened.number}, what each answer leads to, simulated:")
        for outlook in outlooks:
            output.say(f"    {outlook.words()}")
    reason = f": {result.reason}" if result.reason else ""
    output.say(
        f"ended {result.phase}{reason} after {clock(result.time_us)}, "
        f"{counted(len(result.proofs), 'record')}, trace {result.trace_sha256[:16]}"
    )
    for name in result.unanswered:
        output.say(
            f"unanswered: {name}; name who answers what in a file for --answer or --case, such as "
            f"answers: [{{prompt: {name}, answer: {_first_option(loaded.plan, name)}, by: mate}}]"
        )
    if result.unstepped:
        output.say(
            f"stood waiting for a step: {', '.join(result.unstepped)}; nobody allowed it. Say who "
            "allows steps in a file for --answer or --case, such as steps: [{by: mate}]"
        )
    for point in points if result.phase == "complete" else []:
        output.say(f"not accepted: {point}")


def _first_option(plan: Plan, name: str) -> str:
    options = [one.options for one in plan.prompts if one.name == name]
    return str(options[0][0][0]) if options and options[0] else "hold"


def _print_beside(
    output: Output, alarms: Alarms, stories: HoldStories, near: tuple[Nearest, ...]
) -> None:
    """Print each hold as a story, the alarms that still stand, and how near the arms came."""
    for line in [line for story in stories.told for line in story.lines()]:
        output.say(line)
    for alarm in alarms.standing():
        output.say(f"ALARM {alarm_words(alarm)}")
    for one in near:
        output.say(
            f"least clearance {one.gap_m * 1e3:.0f} mm, {one.first} to {one.second}, "
            f"at {clock(round(one.at_s * 1e6))} (simulated arms)"
        )


def clock(at_us: int) -> str:
    """Write a time since the start as minutes and seconds."""
    minutes, rest_us = divmod(at_us, 60_000_000)
    return f"{minutes}:{rest_us / 1e6:05.2f}"


def _write(out: Path, lines: list[str], result: Rehearsal) -> None:
    out.mkdir(parents=True, exist_ok=True)
    (out / "trace.jsonl").write_text("".join(lines), encoding="utf-8")
    text = "".join(f"{clock(at)} {one.severity} {one.text}\n" for at, one in result.notices)
    (out / "notices.txt").write_text(text, encoding="utf-8")
