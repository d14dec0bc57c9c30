"""What the core wants done; an adapter does it, in this order, after the event is durable."""

from dataclasses import dataclass
from typing import Literal

from coordinator.core.plan import Move

Severity = Literal["note", "warning", "alarm"]
Outcome = Literal["finished", "faulted", "interrupted", "by_hand", "replaced"]


@dataclass(frozen=True, slots=True)
class SendDo:
    """Tell a party to do a move; with `barrier` to arm it. Motion."""

    party: int
    command: int
    node: int
    """-1 to stand by at a barrier."""
    move: Move
    expires_us: int
    barrier: int = -1
    barrier_epoch: int = 0


@dataclass(frozen=True, slots=True)
class SendRelease:
    """Start an armed command at `start_us`. Motion."""

    party: int
    command: int
    start_us: int
    expires_us: int


@dataclass(frozen=True, slots=True)
class SendDisarm:
    party: int
    command: int
    reason: str
    expires_us: int


@dataclass(frozen=True, slots=True)
class SendHold:
    party: int
    number: int
    reason: str
    expires_us: int


@dataclass(frozen=True, slots=True)
class SendMakeReady:
    """Let a held party take commands again; moves nothing."""

    party: int
    number: int
    expires_us: int


@dataclass(frozen=True, slots=True)
class SendAsk:
    party: int
    command: int
    """What became of it; 0 asks how the party stands."""
    expires_us: int


@dataclass(frozen=True, slots=True)
class SendLease:
    until_us: int


@dataclass(frozen=True, slots=True)
class RaisePrompt:
    number: int
    prompt: int
    """Kind, an index into the plan; -1 for the built-in question about an unknown outcome."""
    party: int
    node: int
    fault: str
    options: tuple[str, ...]
    evidence: tuple[tuple[str, float | str], ...] = ()
    """What was measured, what the party says itself, and how often it was tried."""
    owner: str = ""
    """Whose answer is asked for, in the author's words; empty for the operator's."""


@dataclass(frozen=True, slots=True)
class WithdrawPrompt:
    number: int
    reason: str


@dataclass(frozen=True, slots=True)
class WriteRecord:
    """What a step proved about a bolt, good or bad; the adapter joins the command's trace to it."""

    party: int
    command: int
    node: int
    attempt: int
    outcome: Outcome
    fault: str
    results: tuple[tuple[str, float], ...]
    who: str = ""
    """The person who did it by hand, or put in another bolt."""


CallOutcome = Literal["done", "refused", "late", "repeated"]


@dataclass(frozen=True, slots=True)
class AnswerCall:
    """The answer to one call of a person, shown where it was made."""

    call: str
    outcome: CallOutcome
    text: str


@dataclass(frozen=True, slots=True)
class Notify:
    """Something a person should be able to read afterwards."""

    severity: Severity
    kind: str
    text: str
    party: int = -1
    node: int = -1


Effect = (
    SendDo
    | SendRelease
    | SendDisarm
    | SendHold
    | SendMakeReady
    | SendAsk
    | SendLease
    | RaisePrompt
    | WithdrawPrompt
    | WriteRecord
    | Notify
    | AnswerCall
)
