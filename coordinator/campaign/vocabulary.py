"""What may go wrong, where and with which figures: the words that cases are made of.

The catalogue of causes is handed in, because the world that knows them is none of this package's
business.

Units: parameters SI by their dimension word; ``*_us`` whole microseconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random

from coordinator.core.plan import Option
from coordinator.sequence import Answer, CaseCause

GAP_US_MAX = 1_500_000
"""From one cause to the next: order matters most while the first still acts."""
BRIEF_US = (200_000, 2_500_000)
LONG_US = (2_500_000, 10_000_000)
LASTING_US = (2_000_000, 12_000_000)
"""How long a cause lasts: most are over soon, some outlast every answer of the link; what acts on a
bolt must be there when the bolt's turn comes."""
LONG_SHARE = 0.15
DOWN_S = (0.3, 0.8, 1.6, 3.0, 6.0)
"""How long a process is down: within a lease, about one, beyond a will, beyond the silence."""
LATE_S = (0.1, 0.4, 1.0, 3.0)
"""How late a message is at most: within the lead of a release, beyond it, beyond an expiry."""
STEPS_S = (0.05, 0.2, 0.6, 2.0)
"""By how much a clock is set: within the window of starts, beyond it, a lease, beyond an expiry."""
OFF_TORQUE = (1.0, 1.0, 1.0, 0.97, 0.8, 1.2)
"""What is measured by hand, over what is wanted: mostly right, or outside every window."""
PEOPLE = ("mate", "fitter")
SHARES = (0.1, 0.3, 0.6, 1.0)
FACTORS = (0.5, 1.0, 1.0, 1.5, 2.5)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of cause."""

    name: str
    applies_to: str
    parameters: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    """(dimension word, value where a case gives none) of each parameter."""
    is_placed: bool = False


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Everything that a case may be made of."""

    kinds: tuple[Kind, ...]
    arms: tuple[str, ...]
    parties: tuple[str, ...]
    """Whoever may be cut off or restarted: arms, floor, coordinator."""
    bolt_count: int
    prompts: tuple[str, ...]
    about_bolts: tuple[str, ...] = ()
    """Prompts about what people can do by hand as well."""
    torques_nm: tuple[float, ...] = ()
    """What people may measure on a bolt that they have worked on by hand."""

    def kind(self, name: str) -> Kind:
        """Return a kind by its name.

        Raises:
            KeyError: there is none.
        """
        for one in self.kinds:
            if one.name == name:
                return one
        raise KeyError(name)


def draw_answer(
    random: Random, words: Vocabulary, prompt: str, option: Option, after_us: int
) -> Answer:
    """Draw one answer: by whom, and with which torque where the work was done by hand.

    Where it is not known which step is asked about, nobody has done it by hand: only what is done
    to bolts is done in the simulated steel as well.
    """
    if option is Option.BY_HAND and prompt not in words.about_bolts:
        option = Option.AGAIN
    if option is not Option.BY_HAND or not words.torques_nm:
        return Answer(prompt, option, PEOPLE[0], after_us)
    torque_nm = random.choice(words.torques_nm) * random.choice(OFF_TORQUE)
    return Answer(prompt, option, random.choice(PEOPLE), after_us, float(f"{torque_nm:.6g}"))


def draw_cause(
    random: Random, words: Vocabulary, kind: Kind, at_us: int, bolt: int = 0
) -> CaseCause:
    """Draw one cause of a kind.

    Args:
        random: The generator of the case.
        words: Sides and bolts.
        kind: What it is.
        at_us: When it begins.
        bolt: The bolt that is being worked on, 0 for none.
    """
    side = None
    if kind.is_placed:
        side = random.choice(words.parties)
    elif kind.applies_to == "side":
        side = random.choice((*words.arms, *words.arms, None))
    elif kind.applies_to == "bus":
        # By the floor's link alone the coordinator knows other signals than the arms do.
        side = random.choice((None, None, *words.parties))
    return CaseCause(
        kind.name,
        side,
        (bolt or random.randint(1, words.bolt_count)) if kind.applies_to == "bolt" else None,
        at_us,
        None if kind.applies_to == "process" else _lasts_us(random, kind),
        None,
        tuple(
            (name, _value(random, name, *what)) for name, what in sorted(kind.parameters.items())
        ),
    )


def _lasts_us(random: Random, kind: Kind) -> int:
    if kind.applies_to == "bolt":
        return random.randint(*LASTING_US)
    return random.randint(*(LONG_US if random.random() < LONG_SHARE else BRIEF_US))


def _value(random: Random, name: str, dimension: str, usual: float) -> float:
    if name == "down":
        return random.choice(DOWN_S)
    if name == "share" and usual <= 0.1:
        return random.choice(SHARES)
    if name == "corner":
        return usual
    if name == "time":
        return random.choice(LATE_S)
    if name == "step":
        return random.choice(STEPS_S) * random.choice((-1.0, 1.0))
    value = usual * random.choice(FACTORS)
    if name in ("off", "off_x", "off_y", "turn", "lean"):
        value *= random.choice((-1.0, 1.0))
    if name == "share" or name == "share_per_s":
        value = min(value, 1.0)
    # Six digits survive being written into a case file and read back.
    return float(f"{value:.6g}")
