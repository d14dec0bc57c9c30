"""The verb `draw`: both sides beside each other with the barriers across, as SVG or Mermaid."""

from pathlib import Path

from coordinator.cli.files import read_or_exit
from coordinator.cli.output import Exit, Output
from coordinator.draw import to_chart, to_mermaid, to_svg, to_unrolled_chart
from coordinator.sequence import load


def draw_file(output: Output, path: Path, *, mermaid: bool, unroll: bool, out: Path | None) -> Exit:
    """Draw a sequence to stdout or into a file.

    A calibration that has run out is no reason not to draw, so calibrations are not judged.
    """
    loaded = read_or_exit(output, lambda: load(path))
    chart = to_unrolled_chart(loaded) if unroll else to_chart(loaded)
    drawn = to_mermaid(chart) if mermaid else to_svg(chart)
    if out is not None:
        out.write_text(drawn, encoding="utf-8")
        output.say(f"drew {path} into {out}")
    elif not output.is_json:
        print(drawn, end="")
    output.document(
        ok=True,
        form="mermaid" if mermaid else "svg",
        unrolled=unroll,
        written=None if out is None else str(out),
        drawing=drawn if out is None else None,
    )
    return Exit.GOOD
