"""The causes that a case may set, for verbs that do not import the simulated arms."""

from sim_arms.causes import CATALOGUE, Cause

__all__ = ["CATALOGUE", "Cause"]
