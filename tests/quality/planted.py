"""Keep what the hunters have found, and draw the table of it.

Invariants: every figure of `PLANTED.md` is reckoned from `planted.json`.
"""

import json
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
DATA = FOLDER / "planted.json"
TABLE = FOLDER / "PLANTED.md"
NOTHING = "(nothing planted)"
FINDERS = ("rule", "proof", "property test", "unit test", "clean day", "campaign")
Hunts = dict[str, dict[str, Any]]
"""What was found, by the defect's name."""


def read() -> Hunts:
    """Return what is kept, nothing if nothing is."""
    if not DATA.is_file():
        return {}
    kept: Hunts = json.loads(DATA.read_text(encoding="utf-8"))
    return kept


def write(hunts: Hunts) -> None:
    """Keep what was found, and draw the table anew."""
    DATA.write_text(json.dumps(hunts, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    TABLE.write_text(document(hunts), encoding="utf-8")


def finders(hunt: Mapping[str, Any]) -> list[str]:
    """Return who has found a defect: rule, proof, tests, clean day, campaign."""
    found = []
    if hunt.get("proof", {}).get("found"):
        found.append("rule" if hunt["proof"]["found"].startswith("SEQ") else "proof")
    names = (("property", "property test"), ("unit", "unit test"))
    found += [name for hunter, name in names if hunt.get(hunter, {}).get("found")]
    campaign = hunt["campaign"]
    if campaign["found"] and campaign.get("by") != "rule":
        found.append(campaign.get("by", "campaign"))
    return found


def document(hunts: Hunts) -> str:
    """Return the whole of `PLANTED.md`."""
    planted = {name: one for name, one in hunts.items() if name != NOTHING}
    return "\n\n".join((_HEAD, _figures(planted), _clean(hunts), _table(planted))) + "\n"


_HEAD = (
    "# Defects planted, and how each was found\n\n"
    "Written by `python -m tests.quality.hunting`, which plants each patch of `patches/` in a"
    " copy of the program and lets everybody look for it there whose part it is. *Proof*: as "
    "`bothsides check` with one cause on `breakout_6`, up to the first property that breaks; "
    "for a defect of a sequence, on the one that it is in, and its rules come first. *Unit "
    "test*: the first of the part's own tests that fails. *Campaign*: generated cases until "
    "one breaks a promise, which is then shrunk; *clean day*: a promise breaks, or the run "
    "does not end complete, though nothing goes wrong. What proof or unit test has found the "
    "campaign looks for in 600 cases, the rest in 3,000; cases are told in batches of 20 to "
    "160. Where neither proof nor campaign has found anything, `makeup_6` is proved as well, "
    "and the *property tests* are asked: the rule machine around the core "
    "(`tests/property/test_core_machine.py`), or the storm around an arm "
    "(`tests/conformance/test_parties.py`), with seed 0. *Directed*: the campaign drew its "
    "causes from the kinds named only; whoever looks for the unknown would not know them. "
    "Seconds are of the processor; for a campaign until the batch with the first broken "
    "promise, shrinking not counted. A dash: looked and found nothing; empty: not asked."
)


def _figures(planted: Hunts) -> str:
    found = {name: finders(one) for name, one in planted.items()}
    by = Counter(who for many in found.values() for who in many)
    alone = Counter(many[0] for many in found.values() if len(many) == 1)
    whole = ", ".join(f"{who} {by[who]} ({alone[who]} alone)" for who in FINDERS if by[who])
    lines = [
        "One program was hunted in, in several sittings on a machine shared by other work.",
        f"**{sum(map(bool, found.values()))} of {len(planted)} were found**: {_parts(planted)}. "
        f"By whom (several may have found one): {whole}.",
    ]
    shrunk = [one["campaign"]["causes"] for one in planted.values() if "causes" in one["campaign"]]
    if shrunk:
        directed = [
            name.replace("_", " ")
            for name, one in planted.items()
            if one["campaign"]["directed"] and one["campaign"]["found"]
        ]
        lines.append(
            f"{len(shrunk)} cases were shrunk, to {min(shrunk)} to {max(shrunk)} causes; directed "
            f"were, of the campaigns that found, {len(directed)}"
            + (f": {', '.join(directed)}." if directed else ".")
        )
    missed = [name.replace("_", " ") for name, many in found.items() if not many]
    if missed:
        lines.append(f"Found by nobody: {', '.join(missed)}.")
    versions = sorted({one["program"] for one in planted.values()})
    if len(versions) == 1:
        lines.append(
            f"Program, tests and hunters of the run (SHA-256, first digits): {versions[0]}."
        )
    elif versions:
        lines.append(f"**Not one run**: several programs were hunted in: {', '.join(versions)}.")
    return "\n\n".join(lines)


def _parts(planted: Hunts) -> str:
    words = []
    for part in sorted({one["part"] for one in planted.values()}):
        own = [finders(one) for one in planted.values() if one["part"] == part]
        words.append(f"{part} {sum(map(bool, own))} of {len(own)}")
    return ", ".join(words)


def _clean(hunts: Hunts) -> str:
    clean = hunts.get(NOTHING)
    if clean is None:
        return "Nobody has looked yet at the program with nothing planted in it."
    if finders(clean):
        return f"**With nothing planted something was found: {finders(clean)}.**"
    cases = clean["campaign"]["cases"]
    return (
        "With nothing planted nobody finds anything: the proof is complete, the tests pass, and "
        f"{cases:,} cases of the campaign break no promise."
    )


def _table(planted: Hunts) -> str:
    head = "| defect | part | found by | proof: property, s | unit test, s | property test, s "
    head += "| campaign: promise | cases | s | causes | kinds |\n" + "|---" * 11 + "|\n"
    return head + "\n".join(_row(name, one) for name, one in planted.items())


def _row(name: str, one: Mapping[str, Any]) -> str:
    campaign = one["campaign"]
    causes = f"{campaign['causes_before']} → {campaign['causes']}" if "causes" in campaign else ""
    cells = (
        name.replace("_", " "),
        one["part"],
        ", ".join(finders(one)) or "**not found**",
        _hunter(one.get("proof")),
        _hunter(one.get("unit")),
        _hunter(one.get("property")),
        campaign["found"] or "–",
        f"{campaign.get('cases', '')}",
        f"{campaign['seconds']:.1f}",
        causes,
        "directed: " + ", ".join(campaign["directed"]) if campaign["directed"] else "",
    )
    return f"| {' | '.join(cells)} |"


def _hunter(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return ""
    what = found["found"].rpartition("/")[2].replace("::runTest", "")
    if found.get("why"):
        what += f" (“{found['why'].removeprefix('AssertionError: ')}”)"
    what = what.replace("|", "/")
    return f"{what or ('cut' if found.get('is_cut') else '–')}, {found['seconds']:.1f}"
