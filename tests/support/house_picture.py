"""Draw the house from the import contracts in pyproject.toml, as a Mermaid flow chart.

Each box is a layer: its packages may import those of the layers below it, never one another. A
dotted arrow names the only packages through which `coordinator` and `sim_arms` may know each other.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from tests.support.house import ROOT

Contract = Mapping[str, Any]


def contracts() -> list[Contract]:
    """Return the import contracts."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    found: list[Contract] = settings["tool"]["importlinter"]["contracts"]
    return found


def layers() -> list[list[str]]:
    """Return the packages of `coordinator`, top layer first, as the contract declares them."""
    (one,) = (one for one in contracts() if one["type"] == "layers")
    return [[name.strip() for name in re.split(r"[|:]", row)] for row in one["layers"]]


def joining() -> list[str]:
    """Return the packages of `coordinator` that no contract keeps from importing `sim_arms`."""
    kept = {
        source.partition(".")[2]
        for one in contracts()
        if one["type"] == "forbidden" and one["forbidden_modules"] == ["sim_arms"]
        for source in one["source_modules"]
    }
    alone = layers()[-1]  # At the very bottom: what they are cannot use anything.
    return [name for row in layers() for name in row if name not in kept and name not in alone]


def known_to_sim_arms() -> list[str]:
    """Return the packages of `coordinator` that `sim_arms` may import."""
    forbidden = {
        name.partition(".")[2]
        for one in contracts()
        if one["type"] == "forbidden" and one["source_modules"] == ["sim_arms"]
        for name in one["forbidden_modules"]
    }
    return [name for row in layers() for name in row if name not in forbidden]


def house_picture() -> str:
    """Return the picture, fenced."""
    return "```mermaid\n" + "\n".join(_lines()) + "\n```\n"


def _lines() -> Iterator[str]:
    rows = layers()
    row_of = {name: number for number, row in enumerate(rows, 1) for name in row}
    yield "flowchart TB"
    yield "    subgraph coordinator"
    for number, row in enumerate(rows, 1):
        yield f'        layer_{number}["{" | ".join(row)}"]'
    numbers = range(1, len(rows) + 1)
    yield "        " + " --> ".join(f"layer_{number}" for number in numbers)
    yield "    end"
    yield from (f'    layer_{row_of[name]} -. "{name}" .-> sim_arms' for name in joining())
    yield from (
        f'    sim_arms -. "{name}" .-> layer_{row_of[name]}' for name in known_to_sim_arms()
    )
