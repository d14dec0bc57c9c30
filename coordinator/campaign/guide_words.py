"""Turn guide words into cases: for every kind of step, what if there were no, more, less ... of it?

The worksheet says for each what was set and what came of it; it is filled by running the cases.

Units: ``*_us`` whole microseconds since the run began.
Source: IEC 61882, Hazard and operability studies, 2016: guide words applied to each part in turn.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from coordinator.campaign.batch import Day
from coordinator.campaign.survey import Survey, Working
from coordinator.campaign.vocabulary import Vocabulary
from coordinator.core.events import Act as ActName
from coordinator.core.plan import Option
from coordinator.sequence import Act, Answer, Case, CaseCause

BRIEF_US = 2_000_000
WAIT_US = 4_000_000
"""People look for so long before they act."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """What a guide word means where a cause can bring it about."""

    word: str
    cause: str
    means: str
    parameters: tuple[tuple[str, float], ...] = ()
    is_placed: bool = False
    is_early: bool = False
    """Begins before the step does."""
    on_other_side: bool = False


DEVIATIONS: tuple[Deviation, ...] = (
    Deviation("no", "loss", "no message arrives", (("share", 1.0),)),
    Deviation("no", "scanner_silent", "no word about the floor"),
    Deviation("more", "duplicate", "every message arrives twice", (("share", 1.0),)),
    Deviation("more", "glare", "more light than the camera bears", (("share", 0.6),)),
    Deviation("less", "supply_low", "less pressure than the wrench needs", (("pressure", 4e6),)),
    Deviation("less", "slow_arm", "less speed than planned", (("factor", 3.0),)),
    Deviation("reverse", "reorder", "later messages come first", (("share", 0.6),)),
    Deviation(
        "reverse", "string_moves", "the string moves while the arms do, instead of after them"
    ),
    Deviation("early", "person_steps_in", "somebody comes before the step is over"),
    Deviation("early", "party_cut", "the cable goes as the step is sent", (), True, True),
    Deviation("late", "delay", "messages come late", (("share", 1.0), ("time", 0.8))),
    Deviation("late", "party_restarts", "the arm answers only after a new start", (), True),
    Deviation(
        "other side", "party_cut", "it is the other side that is cut off", (), True, False, True
    ),
    Deviation(
        "other side",
        "party_restarts",
        "it is the other side that starts anew",
        (),
        True,
        False,
        True,
    ),
)
WORDS: Mapping[str, str] = MappingProxyType(
    {
        "no": "nothing of what was meant happens",
        "more": "more of something than was meant",
        "less": "less of something than was meant",
        "reverse": "the opposite of what was meant",
        "early": "sooner than was meant",
        "late": "later than was meant",
        "other side": "elsewhere than was meant",
    }
)


def pairings(survey: Survey) -> Iterator[tuple[Working, Deviation]]:
    """Yield the first step of every kind with every deviation."""
    first: dict[str, Working] = {}
    for one in survey.working:
        first.setdefault(one.action, one)
    for one in first.values():
        for deviation in DEVIATIONS:
            yield one, deviation


def word_cases(words: Vocabulary, survey: Survey, day: Day) -> list[Case]:
    """Return the case of every guide word at every kind of step, in a fixed order."""
    return [
        _case(words, one, deviation, number, day)
        for number, (one, deviation) in enumerate(pairings(survey))
    ]


def worksheet(survey: Survey, ends: Sequence[tuple[str, str]]) -> list[Mapping[str, str]]:
    """Return the worksheet, as far as its cases were run.

    Args:
        survey: The day that the cases were made on.
        ends: (how it ended, what noticed it first) of each case, in order.
    """
    rows: list[Mapping[str, str]] = []
    for (one, deviation), (ended, noticed) in zip(pairings(survey), ends, strict=False):
        rows.append(
            {
                "step": one.action,
                "word": deviation.word,
                "deviation": deviation.means,
                "cause": deviation.cause,
                "noticed by": noticed or "nobody",
                "ended": ended,
            }
        )
    return rows


def _case(words: Vocabulary, one: Working, deviation: Deviation, number: int, day: Day) -> Case:
    half_us = (one.ended_us - one.begun_us) // 2
    at_us = one.begun_us - 300_000 if deviation.is_early else one.begun_us + min(half_us, BRIEF_US)
    side = one.party if one.party in words.arms else words.arms[0]
    if deviation.on_other_side:
        side = next(arm for arm in words.arms if arm != side)
    placed = side if deviation.is_placed or deviation.cause in ("glare", "slow_arm") else None
    cause = CaseCause(
        deviation.cause,
        placed,
        None,
        max(1, at_us),
        None if deviation.cause == "party_restarts" else BRIEF_US,
        None,
        tuple(sorted(deviation.parameters)),
    )
    acts = tuple(
        act
        for _ in range(3)
        for act in (
            Act(ActName.RESET, "mate", "held", None, WAIT_US),
            Act(ActName.RESTART, "mate", "held", None, 1_000_000),
        )
    )
    answers = tuple(
        Answer(prompt, Option.AGAIN, "mate", BRIEF_US) for prompt in words.prompts for _ in range(3)
    )
    return Case(f"word_{number}", deviation.means, day.seed, (cause,), answers, acts)
