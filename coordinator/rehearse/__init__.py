"""Run a sequence on the simulated cell in virtual time, and study what comes of it."""
