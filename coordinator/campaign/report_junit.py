"""Write a campaign as JUnit XML, so that any build server shows which promises were broken."""

from xml.etree import ElementTree

from coordinator.campaign.campaigning import Tally
from coordinator.campaign.oracles import PROMISES


def junit(tally: Tally, sequence: str, seed: int) -> str:
    """Return one test case per promise, and one for the canaries.

    Args:
        tally: What the campaign came to.
        sequence: The file.
        seed: Of the campaign.
    """
    by_code: dict[str, list[str]] = {}
    for row in tally.rows:
        if row.outcome.violations and not row.canary:
            first = row.outcome.violations[0]
            text = f"case {row.number}: {first.text}"
            by_code.setdefault(first.code, []).append(text)
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


def _test(suite: ElementTree.Element, name: str) -> ElementTree.Element:
    return ElementTree.SubElement(suite, "testcase", classname="campaign", name=name)
