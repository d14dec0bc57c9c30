"""Verdicts: a torque is believed only with the samples behind it."""

from dataclasses import replace

import pytest

from coordinator.records.verdict import Evidence, Judgement, Reason, Verdict, judge
from coordinator.wire.messages import Trace

TRACE = Trace((0.0, 0.5, 1.0), (100.0, 700.0, 1000.0), (1.0, 2.0, 3.0), (0.0, 0.1, 0.2))
GOOD = Evidence("pull", "finished", 1000.0, 1000.0, TRACE)


def peaking(torque_nm: float) -> Trace:
    return replace(TRACE, torque_nm=(100.0, 700.0, torque_nm))


@pytest.mark.parametrize("torque_nm", [950.0, 1000.0, 1050.0])
def test_a_torque_inside_the_band_is_accepted(torque_nm: float) -> None:
    """The band includes its edges."""
    evidence = replace(GOOD, torque_nm=torque_nm, trace=peaking(torque_nm))

    assert judge(evidence) == Judgement(Verdict.ACCEPTED)


@pytest.mark.parametrize(
    ("torque_nm", "reason"), [(949.9, Reason.TORQUE_BELOW), (1050.1, Reason.TORQUE_ABOVE)]
)
def test_a_torque_outside_the_band_is_rejected(torque_nm: float, reason: Reason) -> None:
    """Too much is as bad as too little."""
    evidence = replace(GOOD, torque_nm=torque_nm, trace=peaking(torque_nm))

    assert judge(evidence) == Judgement(Verdict.REJECTED, (reason,))


@pytest.mark.parametrize(
    ("evidence", "reason"),
    [
        (replace(GOOD, trace=Trace()), Reason.SAMPLES_MISSING),
        (replace(GOOD, torque_nm=None), Reason.TORQUE_MISSING),
        (replace(GOOD, torque_nm=float("nan")), Reason.TORQUE_MISSING),
        (replace(GOOD, target_nm=0.0), Reason.TARGET_MISSING),
        (replace(GOOD, trace=replace(TRACE, angle_rad=(0.0,))), Reason.COLUMNS_UNEQUAL),
        (replace(GOOD, trace=replace(TRACE, time_s=(0.0, 1.0, 1.0))), Reason.TIME_NOT_RISING),
        (replace(GOOD, trace=peaking(800.0)), Reason.TORQUE_DISAGREES),
    ],
)
def test_what_is_missing_or_does_not_fit_cannot_be_decided(
    evidence: Evidence, reason: Reason
) -> None:
    """No data is never read as good data."""
    assert judge(evidence) == Judgement(Verdict.NOT_DECIDABLE, (reason,))


def test_every_reason_is_named_not_the_first() -> None:
    """A person must see all of it at once; what speaks against it outweighs what is missing."""
    evidence = Evidence("pull", "faulted", 1000.0, 10.0, Trace())

    assert judge(evidence) == Judgement(
        Verdict.REJECTED, (Reason.FAULTED, Reason.SAMPLES_MISSING, Reason.TORQUE_BELOW)
    )


def test_a_movement_without_a_target_is_judged_by_its_end() -> None:
    """Running a bolt up proves that it entered, not a torque."""
    evidence = Evidence("run-up", "finished", 0.0, None, Trace())

    assert judge(evidence) == Judgement(Verdict.ACCEPTED)
    assert judge(replace(evidence, outcome="interrupted")).reasons == (Reason.INTERRUPTED,)


def test_a_tool_without_a_pressure_sensor_is_no_gap() -> None:
    """An electric tool has no pressure to tell."""
    assert judge(replace(GOOD, trace=replace(TRACE, pressure_pa=()))).verdict == Verdict.ACCEPTED
