"""Write the files of a new cell out of answers: cell, joint, first sequence, schemas for editors.

Invariants: NW1, a new cell is written whole or not at all, only if it keeps every rule and its
first sequence rehearses to its end.
"""

import json
import re
import string
from collections.abc import Iterator, Mapping
from importlib.resources import files
from pathlib import Path

from coordinator.cli.schema import made_schema, text_of
from coordinator.sequence.models.schema import KINDS

FIRST = "first.yaml"
_HOIST_SIGNALS = ("string_still:interlock", "nothing_overhead:interlock")


class _Template(string.Template):
    """Fills in `@name`; a dollar sign is a reference of the sequence and stays."""

    delimiter = "@"


def write_cell(folder: Path, name: str, answers: Mapping[str, str]) -> list[str]:
    """Write the files of a new cell into a folder that is there and empty; return their names."""
    texts = {f"schema/{kind}.json": text_of(made_schema(kind)) for kind in KINDS}
    texts |= {
        f"cells/{name}.yaml": _filled("cell", name, answers),
        f"joints/{name}.yaml": _filled("joint", name, answers),
        FIRST: _filled("first", name, answers),
    }
    for place, text in texts.items():
        path = folder / place
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return sorted(texts)


def _beginning(name: str) -> str:
    return files("coordinator.cli.new").joinpath("beginnings", name).read_text("utf-8")


def _filled(template: str, name: str, answers: Mapping[str, str]) -> str:
    kept = "".join(_kept(_beginning(f"{template}.txt"), answers["hoist"] == "yes"))
    words = {
        **answers,
        "cell": name,
        "joint": name,
        "first": answers["first_side"],
        "second": answers["second_side"],
        "text": json.dumps(answers["text"], ensure_ascii=False),
        "check_angle": "2 deg",
        "tolerance": "5 %",
        **_signals(answers),
    }
    return _Template(kept).substitute(words)


def _kept(text: str, is_hoist: bool) -> Iterator[str]:
    """Yield the lines of a template that hold with a hoist, or without one."""
    for line in text.splitlines(keepends=True):
        match = re.match(r"\?(hoist|alone) ", line)
        if match is None:
            yield line
        elif (match[1] == "hoist") is is_hoist:
            yield line[match.end() :]


def _signals(answers: Mapping[str, str]) -> dict[str, str]:
    """Return the sections of signals and interlocks."""
    asked = [one.strip() for one in answers["signals"].split(",")]
    asked += _HOIST_SIGNALS if answers["hoist"] == "yes" else ()
    kinds = dict(one.split(":", 1) for one in asked)
    known: dict[str, dict[str, str]] = json.loads(_beginning("signals.json"))
    signals, interlocks = [], []
    for name, kind in kinds.items():
        words = name.replace("_", " ")
        one = known.get(name) or {
            "text": words,
            "interlock": f"not_{name}",
            "cause": f"not {words}, or its signal is silent",
            "consequence": "the arms must not move meanwhile",
            "action": f"see to it that it is {words} again",
        }
        signals.append(f"  {name}: {{text: {one['text']}, max_age: 1500 ms, period: 500 ms}}")
        interlocks.append(
            f"  {one['interlock']}:\n    kind: {kind}\n    good_when: {name}\n"
            f"    cause: {one['cause']}\n    consequence: {one['consequence']}\n"
            f"    operator_action: {one['action']}"
        )
    return {"signals": "\n".join(signals), "interlocks": "\n".join(interlocks)}
