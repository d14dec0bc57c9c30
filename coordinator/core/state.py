"""The state of a run: frozen, hashable, canonical.

Named tuples rather than frozen dataclasses: the proof changes, hashes and compares states by the
million, and theirs is the fast way to do so (measured: a change takes a fifth of the time). Named
tuples of different types with equal contents are equal, though. So every situation of a lane begins
with its phase, and no two situations share one.

Units: ``*_us`` whole microseconds since the run began.
"""

from enum import StrEnum
from typing import Literal, NamedTuple

from coordinator.core.plan import Mode, Move

BETWEEN = -1
FINISHED = -2
Evidence = tuple[tuple[str, float | str], ...]
"""What a party measured, or says itself: (name, value), sorted."""


class Phase(StrEnum):
    """The states of the procedure lifecycle."""

    IDLE = "idle"
    RUNNING = "running"
    PAUSING = "pausing"
    PAUSED = "paused"
    HOLDING = "holding"
    HELD = "held"
    RESTARTING = "restarting"
    COMPLETE = "complete"
    STOPPING = "stopping"
    STOPPED = "stopped"
    ABORTING = "aborting"
    ABORTED = "aborted"


ACTIVE = (Phase.RUNNING, Phase.PAUSING, Phase.PAUSED, Phase.RESTARTING)
"""Something may move, or soon: what goes wrong holds the procedure."""
DECIDING = (Phase.RUNNING, Phase.PAUSING)
"""Lanes go on and faults are decided on; else they wait for a restart."""
HOLDING = (Phase.HOLDING, Phase.STOPPING, Phase.ABORTING)
"""Everybody has been told to hold, and not everybody has confirmed."""
ENDED = (Phase.COMPLETE, Phase.STOPPED, Phase.ABORTED)


class StepPhase(StrEnum):
    """The states of the step lifecycle."""

    PENDING = "pending"
    SENT = "sent"
    ARMING = "arming"
    ARMED = "armed"
    RUNNING = "running"
    FAULTED = "faulted"
    RECOVERING = "recovering"
    PROMPTED = "prompted"
    INTERRUPTED = "interrupted"
    DONE = "done"
    """Passed through within one turn; no lane is ever left in it."""


AT_WORK = (StepPhase.SENT, StepPhase.RUNNING, StepPhase.RECOVERING)
"""With a live command its party works on it, or is about to."""
AT_BARRIER = (StepPhase.ARMING, StepPhase.ARMED)
"""A command is given out that its party may not begin before the release."""


class MeetingPhase(StrEnum):
    """The states of the barrier lifecycle."""

    WAITING = "waiting"
    ARMING = "arming"
    RELEASED = "released"
    PASSED = "passed"
    BROKEN = "broken"
    TIMED_OUT = "timed_out"


class CoreFault(StrEnum):
    """The faults that the core itself finds; any other is one that the author has named."""

    TIMEOUT = "timeout"
    REFUSED = "refused"
    OUT_OF_STEP = "out_of_step"
    OUT_OF_BALANCE = "out_of_balance"
    OUTCOME_UNKNOWN = "outcome_unknown"
    """Nobody knows what became of a command."""
    PARTNER_BY_HAND = "partner_by_hand"
    """A side may not pull alone, the other's bolt having been done by hand."""
    CHECK_OWED = "check_owed"
    """No fault of a step: what is to be checked again could not be."""
    HOLD_POINT = "hold_point"
    """No fault: a lane waits at a hold point for a person."""


class Then(StrEnum):
    """What follows the queued moves of a lane."""

    NEXT_ATTEMPT = ""
    ASK = "ask"
    """A person wanted these moves only, and is asked again after them."""
    BACKED_OFF = "backed_off"
    """Those moves are made, and the person is asked or the lane goes on."""
    GO_BACK = "back"
    """A person has sent both sides back over earlier rounds."""
    ABORT = "abort"
    """A person has had the joint left in order."""


LEAVING = (Then.ABORT, Then.GO_BACK)
"""A person has sent the lane away: no hold and no fault undoes that (R4)."""


class Doing(StrEnum):
    """What a live command is for."""

    STEP = "step"
    """The step itself."""
    MOVE = "move"
    """A move of a recovery or of a re-check."""
    STAND = "stand"
    """Standing by at a barrier that no step follows."""


class Timer(StrEnum):
    """What a lane's deadline is about."""

    NONE = ""
    ACKNOWLEDGE = "acknowledge"
    """An answer to the live command is due."""
    PROGRESS = "progress"
    """A sign of work on the live command is due."""
    READY = "ready"
    """An answer to `SendMakeReady` is due."""
    GATE = "gate"
    """The lane may wait this long for an interlock that is just clearing."""


class Party(NamedTuple):
    """What is known of a party from its heartbeats."""

    online: bool = False
    boot: int = 0
    seen_us: int = 0


class Rest(NamedTuple):
    """Whether a party stands, and what it was last told about that."""

    held: bool = True
    """It has reported that it stands and stays; every party wakes up held."""
    control: int = 0
    """Number of the last hold or make-ready; answers to older ones do nothing."""
    hold_us: int = 0
    """By when a hold of this party alone must be confirmed; 0 for none."""
    failing: bool = False
    """That hold is for a fault of its own, which is decided on once it stands."""


class Watch(NamedTuple):
    """The deadlines of a lane; 0 for none."""

    timer: Timer = Timer.NONE
    timer_us: int = 0
    timeout_us: int = 0
    """When the live command has taken too long."""
    asks: int = 0
    """How often the party was asked in vain."""


class Command(NamedTuple):
    """A command given out and not ended."""

    number: int
    doing: Doing
    torque_nm: int | None = None
    """The highest yet reported."""
    unknown: bool = False
    """Nobody knows what became of it: nothing moves before a person has said (R3)."""


class Pending(NamedTuple):
    """Nothing is under way: between nodes, or about to begin one."""

    phase: Literal[StepPhase.PENDING] = StepPhase.PENDING
    fault: str = ""
    """It ended well and was told to hold for this meanwhile; decided on once it stands."""
    evidence: Evidence = ()


class Commanded(NamedTuple):
    """A step, or standing by, is armed or under way."""

    phase: Literal[StepPhase.SENT, StepPhase.ARMING, StepPhase.ARMED, StepPhase.RUNNING]
    command: Command
    fault: str = ""
    """It is told to hold for this."""
    evidence: Evidence = ()


class Recovering(NamedTuple):
    """Moves are made before the node at hand goes on."""

    phase: Literal[StepPhase.RECOVERING]
    fault: str = ""
    evidence: Evidence = ()
    queue: tuple[Move, ...] = ()
    """The first is under way while there is a command."""
    then: Then = Then.NEXT_ATTEMPT
    command: Command | None = None


class Stopped(NamedTuple):
    """What was under way has ended badly or was broken off; not decided on yet."""

    phase: Literal[StepPhase.FAULTED, StepPhase.INTERRUPTED]
    fault: str = ""
    evidence: Evidence = ()
    queue: tuple[Move, ...] = ()
    then: Then = Then.NEXT_ATTEMPT
    unknown: bool = False
    in_move: bool = False
    """It was a move of a recovery: of what is queued only the checks are still owed."""


class Asked(NamedTuple):
    """A person is asked about the node at hand."""

    phase: Literal[StepPhase.PROMPTED]
    prompt: int
    """Number of the open prompt; 0 once answered, while the partner's is open yet."""
    fault: str = ""
    evidence: Evidence = ()
    queue: tuple[Move, ...] = ()
    """Re-checks that are owed once it goes on; of who is leaving, its moves."""
    then: Then = Then.NEXT_ATTEMPT
    unknown: bool = False


Situation = Pending | Commanded | Recovering | Stopped | Asked
# Named once: a union that is written where it is asked for is built anew each time.
Live = Commanded | Recovering
Queued = Recovering | Stopped | Asked
Resting = Stopped | Asked
Going = Pending | Recovering
_UNTOUCHED = Pending()


class Lane(NamedTuple):
    """One party's progress through its lane."""

    done: int = 0
    """Bit mask over the plan's nodes."""
    node: int = BETWEEN
    """The node at hand, or `BETWEEN` two, or `FINISHED`."""
    at: Situation = _UNTOUCHED
    attempts: tuple[tuple[int, str, int], ...] = ()
    """(node, fault, failures so far), sorted."""
    begun: tuple[tuple[int, int], ...] = ()
    """(node, how often it began), sorted, of the steps that prove something."""
    allowed: int = 0
    """Steps that a person has said it may begin, outside automatic mode; -1 up to a barrier."""
    since_us: int = 0
    """Since when the lane is as it is; for explanation only."""
    party: Party = Party()
    rest: Rest = Rest()
    watch: Watch = Watch()

    @property
    def phase(self) -> StepPhase:
        return self.at.phase

    @property
    def live(self) -> Command | None:
        """The command given out and not ended."""
        at = self.at
        return at.command if isinstance(at, Live) else None

    @property
    def command(self) -> int:
        """Number of the live command, 0 for none."""
        live = self.live
        return live.number if live is not None else 0

    @property
    def doing(self) -> Doing | None:
        """What the live command is for."""
        live = self.live
        return live.doing if live is not None else None

    @property
    def queue(self) -> tuple[Move, ...]:
        """Moves to make before the node at hand goes on."""
        at = self.at
        return at.queue if isinstance(at, Queued) else ()

    @property
    def owed(self) -> tuple[Move, ...]:
        """What must still be checked again before the side does anything else."""
        return tuple(move for move in self.queue if move.is_check)

    @property
    def then(self) -> Then:
        at = self.at
        return at.then if isinstance(at, Queued) else Then.NEXT_ATTEMPT

    @property
    def prompt(self) -> int:
        """Number of the open prompt, 0 for none."""
        return self.at.prompt if isinstance(self.at, Asked) else 0

    @property
    def unknown(self) -> bool:
        """Whether nobody knows what became of its last command."""
        at = self.at
        if isinstance(at, Resting):
            return at.unknown
        live = self.live
        return live is not None and live.unknown

    @property
    def is_finished(self) -> bool:
        """Whether every node of the lane is done."""
        return self.node == FINISHED

    def is_done(self, node: int) -> bool:
        """Tell whether a node of this lane is done."""
        return bool(self.done >> node & 1)


class Meeting(NamedTuple):
    """What happens at one barrier."""

    phase: MeetingPhase = MeetingPhase.WAITING
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

    phase: Phase
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
    calls: tuple[str, ...] = ()
    """The last calls of people that were taken; motion never reads them (P9)."""
    answered: tuple[tuple[int, str], ...] = ()
    """The last prompts that were answered by a call, and by whom: told to who comes second."""
