"""Bothsides: two arms, one joint, proved before it touches steel."""

import os
from pathlib import Path

if os.environ.get("BOTHSIDES_COMPILED"):
    from coordinator.compiled import use  # Before any module that it may have compiled.

    use(Path(os.environ["BOTHSIDES_COMPILED"]))
