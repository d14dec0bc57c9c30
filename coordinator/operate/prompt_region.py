"""Draw open prompts where they stay until they are answered, with every answer that is offered.

Units: sizes in characters.
"""

from collections.abc import Sequence
from textwrap import wrap

from coordinator.core.effects import RaisePrompt
from coordinator.core.plan import Plan
from coordinator.live.prompt_words import option_words, prompt_title


def prompt_region(
    plan: Plan, opened: Sequence[RaisePrompt], how: str, size: tuple[int, int]
) -> list[str]:
    """Return the lines of the open prompts.

    Args:
        plan: Gives the names.
        opened: The open prompts.
        how: How they are answered; empty where nobody can.
        size: Width and height that they may take.

    Returns:
        An answer a line where there is room for that, else the answers of a prompt side by side:
        none is ever left out.
    """
    if not opened:
        return []
    width, height = size
    ends = wrap(how, width)
    lines: list[str] = []
    for raised in opened:
        lines += [prompt_title(plan, raised), *option_words(plan, raised)]
    if len(lines) + len(ends) <= height:
        return [*lines, *ends]
    lines = []
    for raised in opened:
        answers = "   ".join(f"{place} {one}" for place, one in enumerate(raised.options, 1))
        indented = wrap(answers, width, initial_indent="    ", subsequent_indent="    ")
        lines += [prompt_title(plan, raised), *indented]
    return [*lines, *ends]
