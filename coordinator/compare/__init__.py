"""Say what changed between two files in physical words, judged from what they mean.

Order of keys, layout and comments mean nothing; names and texts of whole files neither.
"""

from coordinator.compare.cells import compare_cells
from coordinator.compare.change import Change
from coordinator.compare.joints import compare_joints
from coordinator.compare.sequences import compare_sequences

__all__ = ["Change", "compare_cells", "compare_joints", "compare_sequences"]
