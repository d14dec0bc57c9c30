"""The verb `draw`: both sides beside each other with the barriers across, as SVG or Mermaid."""

from pathlib import Path

from coordinator.cli.asked import DrawAsked
from coordinator.cli.files import read_or_exit
from coordinator.cli.output import Exit, Output
from coordinator.draw import to_chart, to_mermaid, to_svg, to_unrolled_chart
from coordinator.sequence import load

_STDOUT = "-"


def draw_file(output: Output, path: Path, asked: DrawAsked) -> Exit:
    """Draw a sequence into a file.

    A calibration that has run out is no reason not to draw, so calibrations are not judged.
    """
    suffix = ".mmd" if asked.mermaid else ".svg"
    target = asked.out or Path(f"{path.stem}{suffix}")
    is_file = str(target) != _STDOUT
    if is_file and (told := _refusal(target, suffix)):
        return output.refuse(told)
    loaded = read_or_exit(output, lambda: load(path, joint=asked.joint))
    chart = to_unrolled_chart(loaded) if asked.unrolled else to_chart(loaded)
    drawn = to_mermaid(chart) if asked.mermaid else to_svg(chart)
    if is_file:
        try:
            target.write_text(drawn, encoding="utf-8")
        except OSError as error:
            why = error.strerror or str(error)
            return output.refuse(f"{target}: {why}, must be a file that can be written; use --out")
        output.say(f"drew {path} into {target}")
    elif not output.is_json:
        print(drawn, end="")
    output.document(
        ok=True,
        form="mermaid" if asked.mermaid else "svg",
        unrolled=asked.unrolled,
        written=str(target) if is_file else None,
        drawing=None if is_file else drawn,
    )
    return Exit.GOOD


def _refusal(target: Path, suffix: str) -> str:
    """Say why a drawing is not written there: a slip must not cost somebody a sequence."""
    if target.suffix == suffix:
        return ""
    what = f"--out is {str(target)!r}"
    return f"{what}, must end in {suffix}; name it {target.with_suffix(suffix)}, or - for stdout"
