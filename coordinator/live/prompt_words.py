"""Put an open prompt into words: what is asked, what was measured, what each answer does.

Units: by the ends of the names of what was measured.
"""

from coordinator.core.effects import RaisePrompt
from coordinator.core.plan import Option, Plan
from coordinator.core.prompts import CHECK_OWED, UNKNOWN_OUTCOME

NEXT = {
    Option.AGAIN: "makes the recovery moves and tries once more",
    Option.RELEASE: "goes on from here",
    Option.BACK_OFF: "makes the recovery moves, then asks again",
    Option.BY_HAND: "a person has done it; the record says so; name the check torque with it",
    Option.REPLACE_BOLT: "a new bolt is in, its opposite slackened; both are pulled from round 1",
    Option.BACK_A_ROUND: "both sides pull again from the beginning of the round before",
    Option.LEAVE: "the tools come off in order, then the procedure ends",
    Option.HOLD: "holds everybody; restart goes on from here",
    Option.ABORT: "ends the procedure where it stands",
}
"""What an answer does where the author has not put it into words."""
BUILT_IN_WORDS = {
    UNKNOWN_OUTCOME: "nobody knows how it ended; look, then say",
    CHECK_OWED: "what must be checked again before it goes on could not be; look, then say",
}
"""What is asked where no file puts it into words."""
_UNITS = {"_nm": "N·m", "_pa": "Pa", "_rad": "rad", "_m": "m", "_n": "N", "_s": "s"}


def evidence_words(evidence: tuple[tuple[str, float | str], ...]) -> str:
    """Return what was measured, each with its unit, and what a party says itself."""
    words = []
    for name, value in evidence:
        if isinstance(value, str):
            words.append(f"{name.replace('_', ' ')}: {value}")
            continue
        suffix = next((one for one in _UNITS if name.endswith(one)), "")
        plain = name.removesuffix(suffix).replace("_", " ")
        words.append(f"{plain} {value:.4g} {_UNITS.get(suffix, '')}".strip())
    return ", ".join(words)


def prompt_title(plan: Plan, raised: RaisePrompt) -> str:
    """Return which prompt it is: its number, whose answer is asked for, the step, the fault."""
    whose = f", for {raised.owner}" if raised.owner else ""
    return f"PROMPT {raised.number}{whose}, {plan.nodes[raised.node].name}, {raised.fault}"


def option_words(plan: Plan, raised: RaisePrompt) -> list[str]:
    """Return a line for each answer: its number in the list, its word, what it does."""
    meanings: dict[str, str] = {}
    if raised.prompt >= 0:
        options = plan.prompts[raised.prompt].options
        meanings = {str(option): meaning for option, meaning in options}
    return [
        f"    {place} {option}: {meanings.get(str(option), NEXT[Option(option)])}"
        for place, option in enumerate(raised.options, start=1)
    ]


def asked_words(plan: Plan, prompt: int) -> str:
    """Return what is asked, in the author's words or, where no file asks it, in ours."""
    return BUILT_IN_WORDS.get(prompt) or plan.prompts[prompt].text


def caution_of(plan: Plan, prompt: int) -> str:
    """Return the caution to read before anything is done about it."""
    if prompt in BUILT_IN_WORDS:
        return "WARNING: the arm may still hold its tool; stay outside the line."
    return plan.prompts[prompt].caution


def prompt_words(plan: Plan, raised: RaisePrompt) -> str:
    """Return the lines of a prompt: what is asked, the caution, the evidence, the answers."""
    asked, caution = asked_words(plan, raised.prompt), caution_of(plan, raised.prompt)
    lines = [f"{prompt_title(plan, raised)}: {asked}", *([caution] if caution else [])]
    if raised.evidence:
        lines.append(f"measured: {evidence_words(raised.evidence)}")
    return "\n  ".join([*lines, *option_words(plan, raised)])
