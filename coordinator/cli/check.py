"""The verb `check`: judge files by every rule and say everything that is wrong."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from coordinator.cli.files import exit_of, to_data
from coordinator.cli.output import Exit, Output
from coordinator.sequence import SequenceError, load


def check_files(
    output: Output, paths: Sequence[Path], *, quick: bool, joint: Path | None = None
) -> Exit:
    """Check every file, with another joint if one is given; the worst decides how it ends."""
    worst, findings, good = Exit.GOOD, [], []
    for path in paths:
        try:
            loaded = load(path, joint=joint, today=date.today())  # noqa: DTZ011 (a calendar day on site)
        except SequenceError as error:
            output.say(error.render())
            findings += [to_data(one) for one in error.diagnostics]
            worst = max(worst, exit_of(error.diagnostics))
            continue
        plan = loaded.plan
        steps = sum(1 for node in plan.nodes if node.move)
        good.append(str(path))
        output.say(
            f"{path}: keeps every rule: {steps} steps, {len(plan.barriers)} barriers, "
            f"{len(plan.spans)} paired spans"
        )
    if not quick and worst is Exit.GOOD:
        output.say("not proved: the proof is not in this version; use --quick for the rules alone")
        worst = Exit.BAD_USE
    output.document(
        ok=worst is Exit.GOOD, good=good, findings=findings, proof="not asked" if quick else "none"
    )
    return worst
