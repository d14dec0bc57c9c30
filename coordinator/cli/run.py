"""The verbs `run`, `arm` and `floor`: real time, on a real bus."""

import sys
from dataclasses import asdict
from pathlib import Path

from coordinator.cli.dryrun import clock, wanted_proofs
from coordinator.cli.files import load_answers, load_capped, load_case, load_sequence
from coordinator.cli.output import CAUTION, Exit, Output
from coordinator.cli.run_live import LiveResult, Wishes, run_arm, run_floor, run_live
from coordinator.cli.run_page import PageFailed, PageWish
from coordinator.cli.simulated import to_causes, unknown_to_simulation
from coordinator.core.plan import UNCAPPED, Caps, Mode
from coordinator.live.broker import BrokerFailed
from coordinator.live.coordinator import OutdatedCoordinator
from coordinator.live.link import LinkUnreachable
from coordinator.page.operators import OperatorsFailed
from coordinator.records.acceptance import open_points
from coordinator.records.journal import JournalFailed
from coordinator.records.rows import RecordFilter
from coordinator.records.store import RecordsFailed, RecordStore
from coordinator.sequence import Loaded

REFUSALS = (
    LinkUnreachable,
    BrokerFailed,
    JournalFailed,
    OutdatedCoordinator,
    RecordsFailed,
    PageFailed,
    OperatorsFailed,
    ValueError,
)


def run_sequence(
    output: Output,
    path: Path,
    *,
    joint: Path | None = None,
    seed: int,
    case_path: Path | None,
    answer_path: Path | None,
    out: Path,
    broker: str | None,
    real: bool,
    speed: float,
    take_over: bool = False,
    page: PageWish | None = None,
    look_ahead: int = 0,
    mode: Mode = Mode.AUTOMATIC,
    caps: Caps = UNCAPPED,
) -> Exit:
    """Run a sequence to its end and tell what was proved."""
    loaded = load_capped(output, path, joint, caps)
    case = load_case(output, case_path, loaded)
    people = load_answers(output, answer_path)
    if not real and (unknown := unknown_to_simulation(loaded)):
        return output.refuse(unknown)
    if real and (broker is None or speed != 1.0 or case is not None):
        return output.refuse("--real needs --broker, and takes neither --speed nor --case")
    try:
        wishes = Wishes(
            loaded=loaded,
            sequence_path=path,
            out=out,
            say=output.say,
            joint_path=joint,
            seed=seed,
            causes=to_causes(case.causes) if case else (),
            people=people or case,
            speed=speed,
            interactive=sys.stdin.isatty() and people is None,
            simulated=not real,
            take_over=take_over,
            page=page,
            look_ahead=look_ahead,
            mode=mode,
        )
        result = run_live(wishes, broker)
    except REFUSALS as error:
        return output.refuse(str(error))
    _tell_haste(output, speed, result)
    return tell_end(output, loaded, out, result)


def _tell_haste(output: Output, speed: float, result: LiveResult) -> None:
    if speed > 1.0 and result.reason.endswith("held by itself"):
        output.say(
            f"An arm holds by itself when no lease arrives in time: at --speed {speed:g} this "
            "machine may not keep up; choose a smaller one"
        )


def be_party(
    name: str,
    sequence: Path,
    broker: str,
    *,
    joint: Path | None = None,
    seed: int,
    case_path: Path | None,
    out: Path,
) -> Exit:
    """Be one simulated party until told to end."""
    output = Output.of(False)
    loaded = load_sequence(output, sequence, joint)
    case = load_case(output, case_path, loaded)
    if name != "floor" and name not in loaded.cell.sides:
        sides = ", ".join(loaded.cell.sides)
        return output.refuse(f"side is '{name}', must be one of {sides}; name one of them")
    try:
        if name == "floor":
            run_floor(sequence, broker, joint_path=joint, folder=out, seed=seed, case=case)
        else:
            run_arm(name, sequence, broker, joint_path=joint, folder=out, seed=seed, case=case)
    except ValueError as error:
        return output.refuse(str(error))
    return Exit.GOOD


def tell_end(output: Output, loaded: Loaded, out: Path, result: LiveResult, **more: object) -> Exit:
    """Tell how a run ended; `more` goes into the document."""
    store = RecordStore(f"sqlite:///{out / 'records.sqlite'}")
    points = open_points(
        store.list_records(RecordFilter(run=result.run)), wanted_proofs(loaded.plan)
    )
    store.close()
    reason = f": {result.reason}" if result.reason else ""
    output.say(f"ended {result.phase}{reason} after {clock(result.elapsed_us)}")
    output.say(f"{result.records} records of run {result.run}: bothsides records list")
    if result.phase == "held":
        output.say(f"go on with: bothsides resume {result.run} --out {out}")
    for point in points if result.phase == "complete" else []:
        output.say(f"not accepted: {point}")
    output.say(CAUTION)
    output.document(
        ok=result.phase == "complete" and not points,
        ended=result.phase,
        reason=result.reason,
        run=result.run,
        records=result.records,
        elapsed_us=result.elapsed_us,
        open_points=points,
        plan_digest=loaded.plan.digest,
        caps=asdict(loaded.plan.caps),
        **more,
    )
    if result.phase != "complete":
        return Exit.HELD
    return Exit.FINDINGS if points else Exit.GOOD
