"""What may happen to the core: every event carries the time at which it is decided.

Units: ``*_us`` whole microseconds since the run began; ``torque_nm`` whole newton metres.
"""

from dataclasses import dataclass
from enum import StrEnum


class Act(StrEnum):
    """What an operator may do to the procedure: commands of IEC 61512-1."""

    START = "start"
    PAUSE = "pause"
    RESUME = "resume"
    HOLD = "hold"
    RESET = "reset"
    RESTART = "restart"
    STOP = "stop"
    ABORT = "abort"


@dataclass(frozen=True, slots=True)
class TimePassed:
    at_us: int


@dataclass(frozen=True, slots=True)
class CommandAccepted:
    at_us: int
    party: int
    command: int


@dataclass(frozen=True, slots=True)
class CommandRefused:
    at_us: int
    party: int
    command: int
    reason: str
    detail: str = ""
    """Why, in the party's own words."""


@dataclass(frozen=True, slots=True)
class CommandArmed:
    at_us: int
    party: int
    command: int


@dataclass(frozen=True, slots=True)
class CommandStarted:
    """A released command began at `started_us`, as the party measured it."""

    at_us: int
    party: int
    command: int
    started_us: int


@dataclass(frozen=True, slots=True)
class CommandProgressed:
    at_us: int
    party: int
    command: int
    torque_nm: int | None = None


@dataclass(frozen=True, slots=True)
class CommandFinished:
    at_us: int
    party: int
    command: int
    results: tuple[tuple[str, float], ...] = ()
    """Numeric results only, sorted by name."""


@dataclass(frozen=True, slots=True)
class CommandFaulted:
    at_us: int
    party: int
    command: int
    fault: str
    evidence: tuple[tuple[str, float], ...] = ()
    """What it measured, numbers only, sorted by name."""


@dataclass(frozen=True, slots=True)
class CommandInterrupted:
    at_us: int
    party: int
    command: int
    died: bool = False
    """The party's process died over it: not even the party knows how far it came."""


@dataclass(frozen=True, slots=True)
class PartyHeld:
    """It stands and stays; `number` is that of the hold it answers, 0 if it held by itself."""

    at_us: int
    party: int
    number: int = 0
    reason: str = ""
    """Why, in the party's own words; for people, nothing is decided by it."""


@dataclass(frozen=True, slots=True)
class PartyReady:
    at_us: int
    party: int
    number: int = 0


@dataclass(frozen=True, slots=True)
class PartySeen:
    """A heartbeat: the party is there, with this boot, and this is the command it works on."""

    at_us: int
    party: int
    boot: int
    running: int


@dataclass(frozen=True, slots=True)
class PartyLost:
    """Its will arrived, or the link to it broke; or what it says of itself rules it out."""

    at_us: int
    party: int
    because: str = ""
    """Why it is ruled out although it is there, for whoever waits for it."""


@dataclass(frozen=True, slots=True)
class MessagesMissed:
    """Messages between us and a party never came, by the numbers that they carry."""

    at_us: int
    party: int
    """-1 for the floor, whose signals come whole each time."""
    missed: int
    by_party: bool = False
    """It was the party that missed them, and said so."""


@dataclass(frozen=True, slots=True)
class SignalSeen:
    """A floor signal; `value` None is unknown."""

    at_us: int
    signal: int
    value: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonAct:
    """What every act of a person carries besides: the call that waits for its answer."""

    call: str = ""
    """Unique in the run, given by the console; empty where nobody waits for an answer."""
    expires_us: int = 0
    """Until when it counts; 0 for ever."""


@dataclass(frozen=True, slots=True)
class OperatorActed(PersonAct):
    at_us: int
    act: Act
    who: str


@dataclass(frozen=True, slots=True)
class PromptAnswered(PersonAct):
    at_us: int
    prompt: int
    """Number of the open prompt, not of its kind."""
    option: str
    who: str
    torque_nm: float | None = None
    """What a person measured on what was done by hand."""
    done_by: str = ""
    """Whose hands did it; empty where they are those of who answers."""


@dataclass(frozen=True, slots=True)
class PromptTaken(PersonAct):
    """A person makes an open prompt their own."""

    at_us: int
    prompt: int
    who: str


@dataclass(frozen=True, slots=True)
class ModeSet(PersonAct):
    at_us: int
    mode: str
    who: str


@dataclass(frozen=True, slots=True)
class StepAllowed(PersonAct):
    """A person's word for the next step, outside automatic mode; `party` -1 for all."""

    at_us: int
    party: int
    who: str


@dataclass(frozen=True, slots=True)
class OverrideSet(PersonAct):
    at_us: int
    interlock: int
    who: str
    why: str
    until_us: int


@dataclass(frozen=True, slots=True)
class OverrideEnded(PersonAct):
    at_us: int
    interlock: int
    who: str


@dataclass(frozen=True, slots=True)
class Resumed:
    """Another coordinator goes on with the run: of parties and floor it knows nothing yet."""

    at_us: int


CommandEvent = (
    CommandProgressed
    | CommandAccepted
    | CommandRefused
    | CommandArmed
    | CommandStarted
    | CommandFinished
    | CommandFaulted
    | CommandInterrupted
)
PartyEvent = CommandEvent | PartyHeld | PartyReady | PartySeen | PartyLost
PersonEvent = (
    OperatorActed
    | PromptAnswered
    | PromptTaken
    | ModeSet
    | StepAllowed
    | OverrideSet
    | OverrideEnded
)
Event = TimePassed | SignalSeen | PersonEvent | Resumed | PartyEvent | MessagesMissed
