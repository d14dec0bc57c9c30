"""Draw the README's picture of a run: ``python -m tests.support.picture`` writes it.

The words are those of a real rehearsal, at the moment in which a stalled thread is recovered while
the other side waits at its barrier.
"""

import io
from pathlib import Path

from rich.console import Console, Group
from rich.text import Text

from coordinator.core.effects import Effect, Notify
from coordinator.core.events import Event
from coordinator.core.state import State
from coordinator.operate.live_lines import LiveLines, stamp
from coordinator.operate.screen import Screen
from coordinator.operate.terminal_prompts import PromptDesk
from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import load, read_case

ROOT = Path(__file__).parents[2]
PICTURE = ROOT / "coordinator" / "cli" / "a_run.svg"
AT_US = 933_000_000
LINES = 7
WIDTH = 118
FORM = """\
<svg viewBox="0 0 {terminal_width} {terminal_height}" xmlns="http://www.w3.org/2000/svg">
<style>
.{unique_id}-matrix {{ font: {char_height}px monospace; }}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{terminal_width}" height="{terminal_height}"/>
</clipPath>
{lines}
</defs>
<rect fill="#292929" width="{terminal_width}" height="{terminal_height}"/>
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</svg>
"""
"""Of rich's own form it leaves out the window's frame and the fonts, which would be fetched."""


def picture() -> str:
    """Return the picture as SVG."""
    loaded = load(ROOT / "sequences" / "makeup_8.yaml")
    case = read_case(ROOT / "sequences" / "cases" / "burr_on_bolt_3.yaml", BOLT_CATALOGUE)
    kept: list[str] = []
    moment: list[State] = []

    def listen(event: Event, effects: tuple[Effect, ...], state: State) -> None:
        if event.at_us > AT_US:
            return
        moment[:] = [state]
        kept.extend(
            f"{stamp(event.at_us)} {one.severity}: {one.text}"
            for one in effects
            if isinstance(one, Notify)
        )

    rehearse(loaded, seed=1, case=case, listeners=(listen,))
    lines = LiveLines(
        loaded.plan,
        moment[0],
        lambda: AT_US,
        Screen(lambda text: None),
        desk=PromptDesk(),
        banner="SIMULATED",
    )
    console = Console(record=True, width=WIDTH, file=io.StringIO(), highlight=False)
    console.print(Group(*(Text(line) for line in kept[-LINES:]), Text(""), lines.region(WIDTH, 40)))
    return console.export_svg(code_format=FORM, unique_id="run")


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
