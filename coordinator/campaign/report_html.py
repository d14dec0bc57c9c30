"""Write a campaign as one HTML page with its plots inside: no script, nothing fetched."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from coordinator.campaign.campaigning import Sample
from coordinator.packaged import render

HOT_S = 10.0
"""The colour of delays is fullest from here on; chosen: longer than any answer of the link."""
NOT_KNOWN = "not known"
LEFT, TOP, WIDTH, HEIGHT = 60, 15, 830, 175
"""Of the plot inside its picture of 900 by 220."""


def page(report: Mapping[str, Any], samples: Sequence[Sample], title: str) -> str:
    """Return the page.

    Args:
        report: As `report.document` gives it.
        samples: How the campaign went over time.
        title: What it is a campaign of.
    """
    noticed_at = _noticed_at(report["matrix"])
    last = samples[-1] if samples else None
    return render(
        "coordinator.campaign",
        "report.html.j2",
        title=title,
        report=report,
        summary=_summary(report),
        broken=_broken(report),
        curve=_curve(samples),
        most_known=max(1, last.known) if last else 1,
        most_done=max(1, last.done) if last else 1,
        hot_s=HOT_S,
        noticed_at=noticed_at,
        causes=sorted({cause for cause, _ in noticed_at}),
        steps=sorted({step for _, step in noticed_at}),
    )


def _summary(report: Mapping[str, Any]) -> list[tuple[str, str]]:
    canaries, coverage, going = report["canaries"], report["coverage"], report["health"]
    return [
        ("cases", f"{report['cases']}, of which {report['whole']} to the very end"),
        ("ended", _ended(report)),
        ("canaries", f"{canaries['reported']} reported, {canaries['missed']} missed"),
        *(
            (name.replace("_", " "), f"{met} of {all_}, {100 * met / max(1, all_):.1f} %")
            for name, (met, all_) in coverage.items()
        ),
        ("rate", _known(going["rate_per_s"], " cases a second in the last call")),
        ("new", _known(going["new_per_min"], " a minute in the last quarter")),
        ("plateau", {True: "yes", False: "no", None: NOT_KNOWN}[going["plateau"]]),
    ]


def _ended(report: Mapping[str, Any]) -> str:
    """Say how cases ended; canaries, which are meant to fail, are left out."""
    ended = report["ended"]
    counts = ", ".join(f"{name} {count}" for name, count in sorted(ended.items()))
    canaries = sum(report["canaries"].values())
    return f"{counts or 'none'}: {sum(ended.values())} cases, without the {canaries} canaries"


def _known(value: float | None, unit: str) -> str:
    return NOT_KNOWN if value is None else f"{value}{unit}"


def _broken(report: Mapping[str, Any]) -> list[dict[str, str]]:
    return [
        {
            "promise broken": name,
            "cases": str(count),
            "the promise": str(report["promises"].get(name.split(" ", maxsplit=1)[0], "")),
            "run one again with bothsides replay": ", ".join(report["kept"][name]) or "none kept",
        }
        for name, count in report["failed"].items()
    ]


def _curve(samples: Sequence[Sample]) -> str:
    """Return what is known over the cases done, as points of a line; empty for less than two."""
    if len(samples) < 2:
        return ""
    most_done, most_known = max(1, samples[-1].done), max(1, samples[-1].known)
    return " ".join(
        f"{LEFT + one.done / most_done * WIDTH:.1f},"
        f"{TOP + HEIGHT - one.known / most_known * HEIGHT:.1f}"
        for one in samples
    )


def _noticed_at(cells: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], tuple[int, int]]:
    """Return how often each cause acted at each step, and how often that was noticed."""
    sums: dict[tuple[str, str], tuple[int, int]] = {}
    for one in cells:
        acted, noticed = sums.get((one["cause"], one["step"]), (0, 0))
        seen = sum(one["detected"].values())
        sums[one["cause"], one["step"]] = acted + seen + one["masked"], noticed + seen
    return sums
