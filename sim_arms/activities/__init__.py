"""What a simulated arm and the hoist do over time, one generator per action of the cell file."""

from sim_arms.activities.bench import Bench, Course, Estimates, HoistBench, Unfit
from sim_arms.activities.start import ACTIONS, HOIST_ACTIONS, TOOLS, begin

__all__ = [
    "ACTIONS",
    "HOIST_ACTIONS",
    "TOOLS",
    "Bench",
    "Course",
    "Estimates",
    "HoistBench",
    "Unfit",
    "begin",
]
