"""The state of a run: frozen, hashable, canonical.

Named tuples rather than frozen dataclasses: the proof changes, hashes and compares states by the
million, and theirs is the fast way to do so (measured: a change takes a fifth of the time).

Units: ``*_us`` whole microseconds since the run began.
"""

from enum import StrEnum
from typing import NamedTuple

from coordinator.core.plan import Mode, Move

BETWEEN = -1
FINISHED = -2


class Doing(StrEnum):
    """What the live command of a lane is for."""

    STEP = "step"
    """The step itself."""
    MOVE = "move"
    """A move of a recovery or of a re-check."""
    STAND = "stand"
    """Standing by at a barrier that no step follows."""


class Timer(StrEnum):
    """What the lane's deadline is about."""

    NONE = ""
    ACKNOWLEDGE = "acknowledge"
    """An answer to the live command is due."""
    PROGRESS = "progress"
    """A sign of work on the live command is due."""
    READY = "ready"
    """An answer to `SendMakeReady` is due."""
    GATE = "gate"
    """The lane may wait this long for an interlock that is just clearing."""


class Lane(NamedTuple):
    """One party's progress through its lane."""

    done: int = 0
    """Bit mask over the plan's nodes."""
    node: int = -1
    """The node at hand; -1 between nodes, -2 when all are done."""
    phase: str = "pending"
    """A state of the step lifecycle."""
    command: int = 0
    """The live command, 0 for none."""
    doing: Doing = Doing.STEP
    queue: tuple[Move, ...] = ()
    """Moves to make before the node at hand goes on; the first is live while `doing` is a move."""
    attempts: tuple[tuple[int, str, int], ...] = ()
    """(node, fault, failures so far), sorted; the fault "" counts how often the step began."""
    fault: str = ""
    evidence: tuple[tuple[str, float], ...] = ()
    """What the party measured when it found the fault."""
    then: str = ""
    """What follows the queue instead of the next attempt: `ask`; `abort` or `back` to leave."""
    prompt: int = 0
    """Number of the open prompt, 0 for none."""
    timer: Timer = Timer.NONE
    timer_us: int = 0
    timeout_us: int = 0
    """When the live command has taken too long; 0 for none."""
    asks: int = 0
    since_us: int = 0
    """Since when the lane is as it is; for explanation only."""
    torque_nm: int | None = None
    control: int = 0
    """Number of the last hold or make-ready sent to the party; answers to older ones do nothing."""
    held: bool = True
    """The party has reported that it stands and stays; every party wakes up held."""
    online: bool = False
    boot: int = 0
    seen_us: int = 0
    hold_us: int = 0
    """By when a hold of this party alone must be confirmed; 0 for none."""
    allowed: int = 0
    """Steps that a person has said it may begin, outside automatic mode; -1 up to a barrier."""
    failing: bool = False
    """It was told to hold for `fault`, a new one of its own; decided on once it stands."""
    unknown: bool = False
    """Nobody knows what became of its last command: nothing moves before a person has said (R3)."""

    @property
    def is_finished(self) -> bool:
        """Tell whether every node of the lane is done."""
        return self.node == FINISHED

    def is_done(self, node: int) -> bool:
        """Tell whether a node of this lane is done."""
        return bool(self.done >> node & 1)


class Meeting(NamedTuple):
    """What happens at one barrier."""

    phase: str = "waiting"
    """A state of the barrier lifecycle."""
    epoch: int = 0
    """Grows with every arming; a late answer to an older one does nothing."""
    deadline_us: int = 0
    """0 while nobody waits."""
    start_us: int = 0
    starts_us: tuple[int, ...] = ()
    """When each lane began after the release, as it measured; -1 while unknown."""


class SignalValue(NamedTuple):
    value: bool | None = None
    seen_us: int = -1


class OpenPrompt(NamedTuple):
    number: int
    prompt: int
    lane: int
    node: int
    fault: str
    owner: str = ""
    """Who has taken it: nobody else's answer counts; empty while anybody's does."""


class Override(NamedTuple):
    """An interlock that a person has set aside for a while."""

    interlock: int
    who: str
    why: str
    until_us: int


class State(NamedTuple):
    """Everything the core remembers."""

    phase: str
    """A state of the procedure lifecycle."""
    lanes: tuple[Lane, ...]
    meetings: tuple[Meeting, ...]
    signals: tuple[SignalValue, ...]
    tripped: tuple[bool, ...]
    """Latched trips, one for each interlock."""
    first_out: int = -1
    """The interlock that was the first to act since the last reset."""
    zones: tuple[int, ...] = ()
    """The lane inside each zone, -1 for none."""
    prompts: tuple[OpenPrompt, ...] = ()
    command: int = 0
    """The last command number given out."""
    prompt: int = 0
    """The last prompt number given out."""
    renew_us: int = 0
    """When the lease is due again."""
    hold_us: int = 0
    """By when everybody must have reported that it stands; 0 for none."""
    reason: str = ""
    """Why the procedure holds, stops or aborts."""
    mode: Mode = Mode.AUTOMATIC
    overrides: tuple[Override, ...] = ()
    acted: tuple[int, ...] = ()
    """Interlocks with re-checks that have acted since the procedure ran last."""
