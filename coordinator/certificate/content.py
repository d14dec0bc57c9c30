"""Gather what a certificate says about one run, before anybody decides how it looks.

Units: torque newton metre, angle degree on plots, preload kilonewton in words.
Invariants: RC9, the same records and files give the same certificate, also in its order.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coordinator.bolting.scatter import TORQUE_WRENCH_LUBRICATED_FRACTION, fraction_band_n
from coordinator.records.acceptance import bolt_verdicts, joint_points
from coordinator.records.journal import PinnedFile
from coordinator.records.load import NOT_SEEN
from coordinator.records.rows import LaterJudgement, Run, StoredRecord
from coordinator.sequence import JointFigures

CAUTIONS = (
    "WARNING: a torque is no preload. The band printed beside each bolt is the scatter of "
    "lubricated torque tightening, ±25 % (NASA-STD-5020B).",
    NOT_SEEN,
    "WARNING: this document tells what tools have measured. It releases no joint to pressure or "
    "load; whoever is responsible for the joint decides, by the code that applies on site.",
    "NOTICE: whoever changes a record breaks the chain. Compare the record head below with the "
    "one kept elsewhere, and run 'bothsides records verify'.",
)
PLOTTED = ("pull", "confirm", "check", "break-out")
SIGNATURES = ("Made up by", "Witnessed by", "Accepted by")


@dataclass(frozen=True, slots=True)
class Source:
    """Everything that a certificate is made from."""

    run: Run
    records: tuple[StoredRecord, ...]
    head: tuple[int, str]
    """Rows of the whole record store, and its last digest."""
    wanted: tuple[tuple[int, str, int], ...] = ()
    joint: JointFigures | None = None
    files: tuple[PinnedFile, ...] = ()
    people: tuple[str, ...] = ()
    later: tuple[LaterJudgement, ...] = ()
    chain_finding: str | None = None
    stood: str = ""
    """Who was simulated, in shadow or real; empty where the journal is not at hand."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One torque-angle course of a bolt."""

    label: str
    angle_deg: tuple[float, ...]
    torque_nm: tuple[float, ...]
    is_bad: bool


@dataclass(frozen=True, slots=True)
class BoltPlot:
    """All courses of one bolt with the target of the last."""

    bolt: int
    curves: tuple[Curve, ...]
    target_nm: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class BoltState:
    """A bolt as the circle shows it."""

    bolt: int
    word: str
    """accepted, not accepted, not supported, or no record."""
    torque_nm: float | None


@dataclass(frozen=True, slots=True)
class Certificate:
    """What is printed, in order."""

    title: str
    verdict: str
    is_simulated: bool
    banner: str
    """What stands over it; empty where everything was real."""
    facts: tuple[tuple[str, str], ...]
    tools: tuple[tuple[str, ...], ...]
    people: tuple[str, ...]
    files: tuple[tuple[str, str], ...]
    bolts: tuple[tuple[str, ...], ...]
    circle: tuple[BoltState, ...]
    exceptions: tuple[str, ...]
    plots: tuple[BoltPlot, ...]
    cautions: tuple[str, ...]
    head: str


BOLT_COLUMNS = (
    "bolt", "kind", "round", "try", "side", "target N·m", "torque N·m", "angle °",
    "preload band kN", "verdict",
)  # fmt: skip
TOOL_COLUMNS = ("side", "tool", "calibrated", "due", "used")


def certificate_of(source: Source) -> Certificate:
    """Return the certificate of a run."""
    run, points = source.run, joint_points(source.records, source.wanted, source.joint)
    simulated = run.simulated or any(one.simulated for one in source.records)
    return Certificate(
        title=f"Bolted joint {run.joint}",
        verdict=_verdict(source, points),
        is_simulated=simulated,
        banner=_banner(source) if simulated else "",
        facts=_facts(source),
        tools=_tools(source),
        people=source.people or ("nobody is named in the journal",),
        files=tuple((one.name, one.sha256) for one in source.files),
        bolts=tuple(_row(one, source.joint) for one in source.records),
        circle=_circle(source),
        exceptions=(*points, *_chains(source.records), *_later(source)),
        plots=_plots(source),
        cautions=CAUTIONS,
        head=f"{source.head[0]} rows, {source.head[1]}",
    )


def _verdict(source: Source, points: Sequence[str]) -> str:
    if source.chain_finding:
        return f"NOT VALID: the records were altered: {source.chain_finding}"
    if not source.records:
        return "not accepted: there are no records"
    if source.run.phase != "complete":
        return f"not accepted: the run is {source.run.phase or 'not at its end'}"
    if not source.wanted:
        # Without it an unfinished joint would pass, since nothing would be missing.
        return "not decidable: the run's files are not at hand to tell what had to be proved"
    return f"not accepted: {len(points)} open points" if points else "accepted"


def _banner(source: Source) -> str:
    """Say how far it is simulated, by what each side's records say of themselves."""
    real = sorted({one.side for one in source.records if not one.simulated})
    if not real:
        return "SIMULATED: no steel was touched"
    return f"PARTLY SIMULATED: only {', '.join(real)} was real; nobody made up this joint"


def _facts(source: Source) -> tuple[tuple[str, str], ...]:
    run, joint = source.run, source.joint
    facts = [
        ("Run", run.run),
        ("Sequence", run.sequence),
        ("Began", run.started),
        ("Ended", f"{run.phase or 'not yet'} {run.reason}".strip()),
        ("Accepted torque", f"target ±{run.tolerance * 100:g} %"),
        ("Plan", run.plan_digest),
    ]
    facts += [("Parties", source.stood)] if source.stood else []
    if joint is not None:
        facts += [
            ("Joint", joint.text),
            ("Bolts", f"{joint.bolt_count} × {joint.thread.designation}, {joint.grade}"),
            ("Bolt circle", f"{joint.bolt_circle_m * 1e3:.0f} mm"),
            ("Target torque", f"{joint.torque_nm:.0f} N·m at friction {joint.friction:g}"),
            ("Target stress", f"{joint.stress_pa / 1e6:.0f} MPa"),
            ("Rounds", ", ".join(f"{one.share * 100:.0f} %" for one in joint.rounds)),
        ]
    return tuple(facts)


def _tools(source: Source) -> tuple[tuple[str, ...], ...]:
    used = {(one.side, one.tool) for one in source.records}
    return tuple(
        (one.side, one.tool, one.calibrated or "unknown", one.due or "unknown",
         "yes" if (one.side, one.tool) in used else "no")
        for one in source.run.tools or ()
    )  # fmt: skip


def _row(one: StoredRecord, joint: JointFigures | None) -> tuple[str, ...]:
    why = ", ".join(word for word in (*one.reasons, one.fault) if word)
    verdict = one.verdict.replace("_", " ")
    return (
        str(one.bolt), one.kind, str(one.round or ""), str(one.attempt), one.side,
        f"{one.target_nm:.0f}" if one.target_nm else "",
        "" if one.torque_nm is None else f"{one.torque_nm:.0f}",
        "" if one.angle_rad is None else f"{one.angle_rad * 57.29577951308232:.1f}",
        _band(one, joint), f"{verdict}: {why}" if why else verdict,
    )  # fmt: skip


def _band(one: StoredRecord, joint: JointFigures | None) -> str:
    """Return the preload that the torque leaves, as a band, never as one figure."""
    if joint is None or not one.torque_nm or not one.target_nm or one.outcome != "finished":
        return ""
    nominal_n = joint.preload_at_n(one.torque_nm)
    band = fraction_band_n(nominal_n, TORQUE_WRENCH_LUBRICATED_FRACTION)
    return f"{band.low_n / 1e3:.0f} to {band.high_n / 1e3:.0f}"


def _circle(source: Source) -> tuple[BoltState, ...]:
    verdicts = bolt_verdicts(source.records, source.wanted, source.joint)
    count = max(verdicts, default=0) if source.joint is None else source.joint.bolt_count
    states = []
    for bolt in range(1, count + 1):
        mine = [one.torque_nm for one in source.records if one.bolt == bolt and one.target_nm]
        torque_nm = mine[-1] if mine else None
        states.append(BoltState(bolt, verdicts.get(bolt, "no record"), torque_nm))
    return tuple(states)


def _chains(records: Sequence[StoredRecord]) -> list[str]:
    """Return, for every point that was not good at once, the chain of its attempts."""
    chains: dict[tuple[int, str, int], list[StoredRecord]] = {}
    for one in records:
        chains.setdefault((one.bolt, one.kind, one.round), []).append(one)
    lines = []
    for (bolt, kind, round_number), chain in sorted(chains.items()):
        if len(chain) == 1 and chain[0].verdict == "accepted":
            continue
        steps = ", then ".join(
            f"{one.verdict.replace('_', ' ')}"
            + (f" ({', '.join(w for w in (*one.reasons, one.fault) if w)})" if one.reasons else "")
            for one in chain
        )
        where = f"bolt {bolt}, {kind}" + (f", round {round_number}" if round_number else "")
        lines.append(f"{where}: {steps}")
    return lines


def _later(source: Source) -> list[str]:
    return [
        f"record {one.record} judged again by {one.who} at {one.at[:19]} under "
        f"'{one.windows.name}': {one.verdict.replace('_', ' ')}"
        for one in source.later
    ]


def _plots(source: Source) -> tuple[BoltPlot, ...]:
    plots = []
    for bolt in sorted({one.bolt for one in source.records}):
        mine = [one for one in source.records if one.bolt == bolt and one.kind in PLOTTED]
        curves = tuple(_curve(one) for one in mine if len(one.trace_angle_rad) > 1)
        if curves:
            target_nm = max(one.target_nm for one in mine)
            plots.append(BoltPlot(bolt, curves, target_nm, source.run.tolerance))
    return tuple(plots)


def _curve(one: StoredRecord) -> Curve:
    angle_deg = tuple(value * 57.29577951308232 for value in one.trace_angle_rad)
    name = f"{one.kind} {one.round}" if one.round else one.kind
    return Curve(name, angle_deg, one.trace_torque_nm, one.verdict != "accepted")
