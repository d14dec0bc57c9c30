"""Decide everything: ``decide(plan, state, event) -> (state, effects)``, and nothing else."""

from coordinator.core.decide import begin, decide, next_deadline_us

__all__ = ["begin", "decide", "next_deadline_us"]
