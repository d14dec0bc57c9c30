"""Say how each party of a run stands: simulated, in shadow, or real; fixed for the whole run.

Simulated: a process of ours plays it. Shadow: ours plays it, and the real one on the bus is
listened to and sent nothing. Real: it is commanded; what ours would have done is compared.

Invariants: LV6, where nothing is said a party is simulated; LV7, every banner about simulated and
real parties is made in one place.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from coordinator.sequence.models.cell_model import CellModel
from coordinator.wire.topics import FLOOR


class Standing(StrEnum):
    """How a party stands."""

    SIMULATED = "simulated"
    SHADOW = "shadow"
    REAL = "real"


@dataclass(frozen=True, slots=True)
class Standings:
    """How every party of a cell stands: both sides, and the floor with the hoist."""

    each: tuple[tuple[str, Standing], ...]
    hoist: str = ""
    """The lane that stands as the floor does."""

    @classmethod
    def of(cls, cell: CellModel, default: Standing = Standing.SIMULATED) -> "Standings":
        """Let every party of a cell stand alike."""
        names = (*cell.sides, FLOOR)
        return cls(tuple((name, default) for name in names), cell.hoist or "")

    @classmethod
    def asked(cls, cell: CellModel, words: Sequence[str], *, is_real: bool = False) -> "Standings":
        """Take what is asked for on the command line, such as ``fore=real``.

        Raises:
            ValueError: a party or a word is unknown, or a party is named twice.
        """
        stands = dict(cls.of(cell, Standing.REAL if is_real else Standing.SIMULATED).each)
        named: list[str] = []
        for word in words:
            name, _, standing = word.partition("=")
            if name not in stands:
                raise ValueError(
                    f"--party names '{name}', must be one of {', '.join(stands)}; "
                    "say it as fore=shadow"
                )
            if standing not in list(Standing):
                must = ", ".join(Standing)
                raise ValueError(f"--party says {name} is '{standing}', must be one of {must}")
            if name in named:
                raise ValueError(f"--party names '{name}' twice, must name it once")
            named.append(name)
            stands[name] = Standing(standing)
        return cls(tuple(stands.items()), cell.hoist or "")

    @classmethod
    def from_data(cls, data: Iterable[Sequence[str]], hoist: str) -> "Standings":
        """Read what `to_data` wrote."""
        return cls(tuple((name, Standing(word)) for name, word in data), hoist)

    def to_data(self) -> tuple[tuple[str, str], ...]:
        """Return it for a file."""
        return tuple((name, str(standing)) for name, standing in self.each)

    def party_of(self, source: str) -> str:
        """Return the party that a name on the bus belongs to."""
        return FLOOR if source == self.hoist else source

    def stands(self, source: str) -> Standing:
        """Return how the party of a name on the bus stands."""
        return dict(self.each).get(self.party_of(source), Standing.SIMULATED)

    def those(self, standing: Standing) -> tuple[str, ...]:
        """Return who stands so."""
        return tuple(name for name, word in self.each if word is standing)

    @property
    def has_real(self) -> bool:
        """Tell whether anything real can move."""
        return bool(self.those(Standing.REAL))

    @property
    def is_all_simulated(self) -> bool:
        """Tell whether nothing of the real cell takes part."""
        return len(self.those(Standing.SIMULATED)) == len(self.each)

    @property
    def is_all_real(self) -> bool:
        """Tell whether nothing is simulated."""
        return len(self.those(Standing.REAL)) == len(self.each)

    def words(self) -> str:
        """Return how each stands, in one line."""
        return ", ".join(f"{name} {str(standing).upper()}" for name, standing in self.each)

    def banner(self) -> str:
        """Return what stands over everything that shows the run."""
        if self.is_all_simulated:
            return "SIMULATED"
        if self.is_all_real:
            return "REAL"
        return f"{'PARTLY REAL' if self.has_real else 'SIMULATED'} ({self.words()})"

    def caution(self) -> str:
        """Return the banner with what follows from it for whoever is near."""
        if self.is_all_simulated:
            return "SIMULATED: no steel is touched"
        if self.is_all_real:
            return "REAL ARMS: stay clear"
        after = "stay clear" if self.has_real else "nothing real is commanded"
        return f"{self.banner()}: {after}"


def standings_words(each: Iterable[Sequence[str]]) -> str:
    """Return how each stood, as a journal or the book has it; empty where it says nothing."""
    return ", ".join(f"{name} {word.upper()}" for name, word in each)
