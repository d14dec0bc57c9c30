"""Write the files of a new cell out of answers: cell, joint, first sequence, schemas for editors.

Invariants: the folder appears whole or not at all.
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
_KNOWN_SIGNALS = {
    "floor_clear": (
        "nobody inside the line",
        "somebody is inside the line, or the scanner is silent",
        "an arm could strike a person",
        "see the floor cleared with your own eyes, then reset, then restart",
    ),
    "string_still": (
        "the hoist stands",
        "the hoist moves the string",
        "the joint moves under the tools",
        "let the hoist come to rest",
    ),
    "nothing_overhead": (
        "no load hangs above the joint",
        "a length hangs above the joint",
        "a dropped length would fall on the arms",
        "land the length or swing it away",
    ),
}
"""Of signals that every such floor has: text, cause, consequence, operator action."""
_INTERLOCK_NAMES = {
    "floor_clear": "person_on_floor",
    "string_still": "string_moving",
    "nothing_overhead": "load_overhead",
}
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


def _filled(template: str, name: str, answers: Mapping[str, str]) -> str:
    text = files("coordinator.cli.new").joinpath("beginnings", f"{template}.txt").read_text("utf-8")
    kept = "".join(_kept(text, answers["hoist"] == "yes"))
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
    signals, interlocks = [], []
    for name, kind in kinds.items():
        words = name.replace("_", " ")
        text, cause, consequence, action = _KNOWN_SIGNALS.get(
            name,
            (words, f"not {words}, or its signal is silent", "the arms must not move meanwhile",
             f"see to it that it is {words} again"),
        )  # fmt: skip
        signals.append(f"  {name}: {{text: {text}, max_age: 1500 ms, period: 500 ms}}")
        interlocks.append(
            f"  {_INTERLOCK_NAMES.get(name, f'not_{name}')}:\n    kind: {kind}\n"
            f"    good_when: {name}\n    cause: {cause}\n    consequence: {consequence}\n"
            f"    operator_action: {action}"
        )
    return {"signals": "\n".join(signals), "interlocks": "\n".join(interlocks)}
