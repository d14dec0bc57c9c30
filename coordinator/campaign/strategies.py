"""Hypothesis strategies for cases, so that a user's own pytest can attack a sequence of its own.

Needs the extra `strategies` (Hypothesis). A case drawn here is shrunk by Hypothesis itself.

Units: ``*_us`` whole microseconds since the run began; parameters SI.
"""

from typing import Any

from hypothesis import strategies as st

from coordinator.campaign.vocabulary import (
    BRIEF_US,
    DOWN_S,
    GAP_US_MAX,
    LATE_S,
    LONG_US,
    PEOPLE,
    SHARES,
    STEPS_S,
    Kind,
    Vocabulary,
)
from coordinator.core.events import Act as ActName
from coordinator.core.plan import Option
from coordinator.sequence import Act, Answer, Case, CaseCause

FACTORS = (0.5, 3.0)
CAUSES_MAX = 4
BY = "mate"


def values(name: str, dimension: str, usual: float) -> st.SearchStrategy[float]:
    """Draw a parameter of a cause.

    Args:
        name: The parameter.
        dimension: Its dimension word; a ratio stays at most 1 where it is a share.
        usual: Its value where a case gives none; what is drawn lies around it.
    """
    if name == "down":
        return st.sampled_from(DOWN_S)
    if name == "time":
        return st.sampled_from(LATE_S)
    if name == "step":
        return st.sampled_from((*STEPS_S, *(-step_s for step_s in STEPS_S)))
    if name == "share" and usual <= 0.1:
        return st.sampled_from(SHARES)
    if name == "corner":
        return st.just(usual)
    low, high = sorted((usual * FACTORS[0], usual * FACTORS[1]))
    if name.startswith("share"):
        high = min(high, 1.0)
    drawn = st.floats(low, high, allow_nan=False).map(lambda value: float(f"{value:.6g}"))
    return st.one_of(st.just(usual), drawn)


@st.composite
def causes(draw: st.DrawFn, words: Vocabulary, kind: Kind, low_us: int, high_us: int) -> CaseCause:
    """Draw a cause of a kind that begins between two times."""
    side = None
    if kind.is_placed:
        side = draw(st.sampled_from(words.parties))
    elif kind.applies_to == "side":
        side = draw(st.sampled_from((None, *words.arms)))
    elif kind.applies_to == "bus":
        side = draw(st.sampled_from((None, *words.parties)))
    bolt = draw(st.integers(1, words.bolt_count)) if kind.applies_to == "bolt" else None
    lasts_us = draw(st.integers(BRIEF_US[0], LONG_US[1]))
    return CaseCause(
        kind.name,
        side,
        bolt,
        draw(st.integers(low_us, high_us)),
        None if kind.applies_to == "process" else lasts_us,
        None,
        tuple((name, draw(values(name, *what))) for name, what in sorted(kind.parameters.items())),
    )


def acts_of_people() -> st.SearchStrategy[tuple[Act, ...]]:
    """Draw what people do once the run is held: get it going again some times, or never."""
    after = st.sampled_from((300_000, 2_500_000, 9_000_000))
    pair = st.tuples(
        after.map(lambda after_us: Act(ActName.RESET, BY, "held", None, after_us)),
        after.map(lambda after_us: Act(ActName.RESTART, BY, "held", None, after_us)),
    )
    return st.lists(pair, max_size=3).map(lambda pairs: tuple(act for two in pairs for act in two))


def answers(words: Vocabulary) -> st.SearchStrategy[tuple[Answer, ...]]:
    """Draw what people answer, at once, slowly or never."""
    one = st.builds(
        Answer,
        st.sampled_from(words.prompts),
        st.sampled_from(tuple(Option)),
        st.sampled_from(PEOPLE),
        st.sampled_from((0, 2_000_000, 30_000_000)),
        st.sampled_from((None, *words.torques_nm)),
    )
    return st.lists(one, max_size=8).map(tuple)


@st.composite
def cases(
    draw: st.DrawFn,
    words: Vocabulary,
    *,
    seed: int = 1,
    between_us: tuple[int, int] = (1_000_000, 600_000_000),
    kinds: tuple[str, ...] = (),
) -> Case:
    """Draw a whole case.

    Args:
        draw: Given by Hypothesis.
        words: What cases of the sequence are made of (`coordinator.rehearse.stage.vocabulary_of`).
        seed: Of the simulated world.
        between_us: When the first cause begins.
        kinds: Only these kinds of causes; all of them by default.
    """
    offered = [one for one in words.kinds if not kinds or one.name in kinds]
    found: list[CaseCause] = []
    low_us, high_us = between_us
    for _ in range(draw(st.integers(1, CAUSES_MAX))):
        kind: Any = draw(st.sampled_from(offered))
        cause = draw(causes(words, kind, low_us, high_us))
        found.append(cause)
        low_us = cause.at_us or 0
        high_us = low_us + GAP_US_MAX
    return Case("drawn", "", seed, tuple(found), draw(answers(words)), draw(acts_of_people()))
