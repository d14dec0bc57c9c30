"""Write a campaign as JUnit XML, so that any build server shows which promises were broken."""

from collections.abc import Sequence
from xml.etree import ElementTree

from coordinator.campaign.campaigning import Tally
from coordinator.campaign.oracles import PROMISES
from coordinator.campaign.store import Kept


def junit(tally: Tally, sequence: str, seed: int, kept: Sequence[Kept] = ()) -> str:
    """Return one test case per promise, and one for the canaries.

    Args:
        tally: What the campaign came to.
        sequence: The file.
        seed: Of the campaign.
        kept: The failing cases that have a file of their own; they are named first.
    """
    by_code = _texts(tally, kept)
    suite = ElementTree.Element(
        "testsuite",
        name=f"campaign of {sequence}",
        tests=str(len(PROMISES) + 1),
        failures=str(len(by_code) + bool(tally.canaries[False])),
    )
    properties = ElementTree.SubElement(suite, "properties")
    for name, value in (("seed", seed), ("attempts", tally.done)):
        ElementTree.SubElement(properties, "property", name=name, value=str(value))
    for code, promise in PROMISES.items():
        case = ElementTree.SubElement(
            suite, "testcase", classname="campaign", name=f"{code} {promise}"
        )
        if code in by_code:
            texts = by_code[code]
            failure = ElementTree.SubElement(case, "failure", message=f"{len(texts)} cases")
            failure.text = "\n".join(texts[:10])
    case = _test(suite, "canaries reported")
    if tally.canaries[False]:
        missed = f"{tally.canaries[False]} of {sum(tally.canaries.values())} were not reported"
        ElementTree.SubElement(case, "failure", message=missed)
    ElementTree.indent(suite)
    return ElementTree.tostring(suite, encoding="unicode", xml_declaration=True) + "\n"


def _texts(tally: Tally, kept: Sequence[Kept]) -> dict[str, list[str]]:
    """Return what was broken, by promise; cases that can be run again from a file come first."""
    places = {(one.seed, one.number): one.place for one in kept}
    found: dict[str, list[tuple[bool, str]]] = {}
    for row in tally.rows:
        if row.outcome.violations and not row.canary:
            first = row.outcome.violations[0]
            place = places.get((row.seed, row.number))
            again = "" if place is None else f" (bothsides replay {place})"
            text = f"case {row.number} of seed {row.seed}: {first.text}{again}"
            found.setdefault(first.code, []).append((place is None, text))
    return {
        code: [text for _, text in sorted(texts, key=lambda one: one[0])]
        for code, texts in found.items()
    }


def _test(suite: ElementTree.Element, name: str) -> ElementTree.Element:
    return ElementTree.SubElement(suite, "testcase", classname="campaign", name=name)
