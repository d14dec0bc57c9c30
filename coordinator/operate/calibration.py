"""Note the calibration of every tool as the cell file of a run says it."""

from coordinator.records.windows import Calibration
from coordinator.sequence import Loaded


def calibrations_of(loaded: Loaded) -> tuple[Calibration, ...]:
    """Return every tool of both sides with the days of its calibration."""
    return tuple(
        Calibration(
            side,
            name,
            "" if tool.calibrated is None else tool.calibrated.isoformat(),
            "" if tool.calibration_due is None else tool.calibration_due.isoformat(),
        )
        for side, one in loaded.cell.sides.items()
        for name, tool in one.tools.items()
    )
