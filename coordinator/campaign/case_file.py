"""Write a case as a file that holds everything needed to run it again anywhere.

Units: times in seconds with six digits, parameters in SI with their unit.
Invariants: CA4, what is written of a case reads back as the same case.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import yaml

from coordinator.campaign.vocabulary import Vocabulary
from coordinator.sequence import Act, Answer, Case, CaseCause, Found, StepWord

_UNITS: Mapping[str, str] = {
    "length": " m",
    "angle": " rad",
    "torque": " N.m",
    "pressure": " Pa",
    "time": " s",
}
WIDTH = 100


class _Flow(dict[str, Any]):
    """A mapping written on one line."""


class _Block(str):
    """A text written line by line."""

    __slots__ = ()


class _Dumper(yaml.SafeDumper):
    """Writes what a person reads again."""


_Dumper.add_representer(
    _Flow,
    lambda dumper, data: dumper.represent_mapping(
        "tag:yaml.org,2002:map", data.items(), flow_style=True
    ),
)
_Dumper.add_representer(
    _Block,
    lambda dumper, data: dumper.represent_scalar("tag:yaml.org,2002:str", str(data), style="|"),
)


def case_text(case: Case, words: Vocabulary) -> str:
    """Return the text of a case file.

    Args:
        case: The case.
        words: Gives the parameters of its causes their dimensions.
    """
    content = {
        "case": case.case,
        "text": case.text or None,
        "seed": case.seed,
        "causes": [_cause(one, words) for one in case.causes] or None,
        "answers": [_answer(one) for one in case.answers] or None,
        "acts": [_act(one) for one in case.acts] or None,
        "found": None if case.found is None else _found(case.found),
    }
    return yaml.dump(
        _without_none(content), Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=1_000_000
    )


def as_regression(case: Case) -> Case:
    """Return a case that must go well from now on: nothing of what it came to is expected."""
    if case.found is None:
        return case
    found = replace(case.found, ended="", broken=(), index=0, at_us=0, trace="", program="")
    return replace(case, found=found)


def seconds(time_us: int) -> str:
    """Write microseconds as seconds, to the last digit."""
    whole, rest_us = divmod(time_us, 1_000_000)
    return f"{whole}.{rest_us:06d}".rstrip("0").rstrip(".") + " s"


def _cause(cause: CaseCause, words: Vocabulary) -> _Flow:
    given = {
        "side": cause.side,
        "bolt": cause.bolt,
        "at": None if cause.at_us is None else seconds(cause.at_us),
        "for": None if cause.for_us is None else seconds(cause.for_us),
        "times": cause.times,
    }
    written = _Flow(cause=cause.cause, **_without_none(given))
    known = words.kind(cause.cause).parameters
    for name, value in cause.parameters:
        unit = _UNITS.get(known[name][0])
        written[name] = value if unit is None else f"{value!r}{unit}"
    return written


def _answer(answer: Answer) -> _Flow:
    written = _Flow(prompt=answer.prompt, answer=str(answer.answer))
    if answer.after_us:
        written["after"] = seconds(answer.after_us)
    written["by"] = answer.by
    if answer.torque_nm is not None:
        written["torque"] = f"{answer.torque_nm!r}{_UNITS['torque']}"
    return written


def _act(act: Act) -> _Flow:
    written = _Flow(act=str(act.act))
    if act.when is not None:
        written["when"] = act.when
        if act.after_us:
            written["after"] = seconds(act.after_us)
    else:
        written["at"] = seconds(act.at_us or 0)
    written["by"] = act.by
    return written


def _step(step: StepWord) -> _Flow:
    written = _Flow(by=step.by)
    if step.after_us:
        written["after"] = seconds(step.after_us)
    if step.times is not None:
        written["times"] = step.times
    return written


def _found(found: Found) -> dict[str, Any]:
    names = ("sequence", "digest", "program", "ended", "trace")
    written: dict[str, Any] = {name: getattr(found, name) or None for name in names}
    written |= {
        "stretch": None if found.stretch == 1.0 else found.stretch,
        "is_whole": found.is_whole or None,
        "broken": list(found.broken) or None,
        "index": found.index or None,
        "at": seconds(found.at_us) if found.index else None,
        "files": {name: _Block(text) for name, text in found.files} or None,
    }
    return _without_none(written)


def _without_none(written: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in written.items() if value is not None}
