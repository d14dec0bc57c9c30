"""Explore every interleaving of a plan with the core that runs, and judge what leaves it.

The arms are replaced by whatever they may answer: done, each fault, refusal, silence, in any order
and at any time; the floor may turn unsafe and people may answer what they like, as long as the
causes last.
"""

from coordinator.prove.explore import Exploration, explore
from coordinator.prove.graph import Limits, Stores
from coordinator.prove.monitors import PROPERTIES, Violation

__all__ = ["PROPERTIES", "Exploration", "Limits", "Stores", "Violation", "explore"]
