"""The parts of the guides that are generated; ``python -m tests.support.generated_parts`` writes.

A part stands between ``<!-- generated: name -->`` and ``<!-- end -->``.
"""

import re
from collections.abc import Callable
from functools import partial
from typing import get_args

from coordinator.campaign.oracles import PROMISES
from coordinator.commissioning.lines import LINES
from coordinator.invariants import INVARIANTS
from coordinator.lifecycles import ALARM, ARM, BARRIER, PROCEDURE, PROMPT, STEP, Lifecycle
from coordinator.lifecycles.diagrams import to_mermaid
from coordinator.prove.monitors import PROPERTIES
from coordinator.wire.messages import Body
from coordinator.wire.topics import channel_of, is_retained, quality_of
from sim_arms.causes import CATALOGUE, CauseKind
from tests.support.house import ROOT
from tests.support.house_picture import house_picture
from tests.support.invariants import judges_of, upheld_in
from tests.support.key_tables import LABELS, key_table
from tests.support.verbs_guide import verbs

_PART = re.compile(r"(<!-- generated: ([a-z ]+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)


def _diagram(lifecycle: Lifecycle) -> Callable[[], str]:
    return lambda: f"```mermaid\n{to_mermaid(lifecycle)}\n```\n"


def _cause_row(kind: CauseKind) -> str:
    parameters = ", ".join(
        f"`{name}` ({one.dimension}, {one.default:g})" for name, one in kind.parameters.items()
    )
    faults = ", ".join(f"`{fault}`" for fault in kind.shows_as)
    times = "while it lasts" if kind.times is None else str(kind.times)
    name = f"`{kind.name}`"
    return _row(kind.code, name, kind.text, kind.applies_to, parameters, faults, times, kind.source)


def _row(*cells: str) -> str:
    return "| " + " | ".join(cell or "–" for cell in cells) + " |\n"


def causes() -> str:
    """Return the catalogue of causes as a table."""
    head = "| code | cause | what it is | acts on | parameters (dimension, default in SI) "
    head += "| may show as | times | source |\n|---|---|---|---|---|---|---|---|\n"
    return head + "".join(_cause_row(kind) for kind in CATALOGUE.values())


def signs() -> str:
    """Return how each cause works, shows and is recovered from, as a table."""
    head = "| code | cause | what physics does with it | how it is detected | signature "
    head += "| accepted recovery | without a person |\n|---|---|---|---|---|---|---|\n"
    return head + "".join(
        _row(
            *(kind.code, f"`{kind.name}`", kind.physics, kind.detected, kind.signature),
            *(kind.recovery, "may be tried again" if kind.retried else "never tried again"),
        )
        for kind in CATALOGUE.values()
    )


def properties() -> str:
    """Return what a proof holds every order of events to."""
    rows = "".join(f"| `{name}` | {text} |\n" for name, text in PROPERTIES.items())
    return "| property | promise |\n|---|---|\n" + rows


def lines() -> str:
    """Return the lines of an arm's acceptance."""
    rows = "".join(f"| {one.code} | {one.title} | {one.promise} |\n" for one in LINES)
    return "| line | what | promise |\n|---|---|---|\n" + rows


def promises() -> str:
    """Return what the oracles of a campaign hold the program to."""
    rows = "".join(f"| {code} | {promise} |\n" for code, promise in PROMISES.items())
    return "| code | invariant |\n|---|---|\n" + rows


def invariants(*folders: str) -> str:
    """Return the invariants that modules below some folders uphold, and who judges them."""
    head = "| code | invariant | upheld in | judged by |\n|---|---|---|---|\n"
    return head + "".join(
        _row(code, one.text, _upheld(code), ", ".join(judges_of(code)))
        for code, one in INVARIANTS.items()
        if not folders or any(name.startswith(folders) for name in upheld_in(code))
    )


def _upheld(code: str) -> str:
    return ", ".join(f"`{name.removeprefix('coordinator/')}`" for name in upheld_in(code))


def bodies() -> str:
    """Return which body travels where, and how."""
    lines = ["| body | last level of the topic | QoS | retained |", "|---|---|---|---|"]
    for kind in get_args(Body):
        # Topic, quality and retention hang on the type alone, so no fields are needed.
        body = object.__new__(kind)
        retained = "yes" if is_retained(body) else "no"
        lines.append(
            f"| `{kind.__name__}` | `{channel_of(body)}` | {quality_of(body)} | {retained} |"
        )
    return "\n".join(lines) + "\n"


PARTS: dict[str, Callable[[], str]] = {
    **{
        f"lifecycle {one.name}": _diagram(one)
        for one in (PROCEDURE, STEP, BARRIER, PROMPT, ALARM, ARM)
    },
    **{f"keys of a {kind}": partial(key_table, kind) for kind in LABELS},
    "house": house_picture,
    "verbs": verbs,
    "causes": causes,
    "signs of causes": signs,
    "invariants": invariants,
    "invariants of the core": partial(invariants, "coordinator/core/", "coordinator/lifecycles/"),
    "invariants of the gateway": partial(invariants, "coordinator/gateway/"),
    "invariants of the proof": partial(invariants, "coordinator/prove/"),
    "invariants of a campaign": promises,
    "lines of acceptance": lines,
    "properties": properties,
    "bodies": bodies,
}
GUIDES = (
    "DEVELOPERS.md",
    "coordinator/campaign/README.md",
    "coordinator/cli/README.md",
    "coordinator/commissioning/README.md",
    "coordinator/core/README.md",
    "coordinator/gateway/README.md",
    "coordinator/invariants/README.md",
    "coordinator/prove/README.md",
    "coordinator/wire/README.md",
    "sequences/README.md",
    "sim_arms/README.md",
)


def parts_of(text: str) -> list[tuple[str, str]]:
    """Return the generated parts of a guide as (name, text)."""
    return [(match[2], match[3]) for match in _PART.finditer(text)]


def renewed(text: str) -> str:
    """Return a guide with every generated part made anew."""
    return _PART.sub(lambda match: f"{match[1]}{PARTS[match[2]]()}{match[4]}", text)


if __name__ == "__main__":
    for guide in GUIDES:
        path = ROOT / guide
        path.write_text(renewed(path.read_text(encoding="utf-8")), encoding="utf-8")
