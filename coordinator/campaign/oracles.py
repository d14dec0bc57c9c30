"""The list of all oracles, with the promise that each holds the program to."""

from collections.abc import Mapping
from types import MappingProxyType

from coordinator.campaign.judge import Oracle
from coordinator.campaign.oracles_meeting import OneFate, Together
from coordinator.campaign.oracles_motion import Asked, AtRest, Gated, Leased, OnlyOnce
from coordinator.campaign.oracles_people import ReadyAgain, Renewed, TakenBack
from coordinator.campaign.oracles_work import AllDone, Overhead, Torqued, Zoned

ORACLES: tuple[type[Oracle], ...] = (
    Together,
    OneFate,
    Gated,
    AtRest,
    OnlyOnce,
    Leased,
    Asked,
    Zoned,
    Torqued,
    Overhead,
    AllDone,
    Renewed,
    ReadyAgain,
    TakenBack,
)
PROMISES: Mapping[str, str] = MappingProxyType(
    {
        "B1": "nobody is released before everybody at the barrier has armed",
        "B2": "a barrier releases all its parties, with one start time",
        "B3": "nobody begins before or without its release",
        "S1": "a span closes only after both sides did all of it since it was last opened",
        "S2": "no side ends a pull that the other never began",
        "S3": "when one side of a span fails, the other stops within its stated time",
        "S4": "while both pull, their torques stay inside the balance band, or both hold",
        "I1": "no motion command leaves while what it needs is active, unknown or too old",
        "I2": "nothing moves before a trip was reset by a person after its cause had gone",
        "I3": "what was held moves only after a restart by a person",
        "I4": "after a trip everybody comes to rest",
        "I5": "after a restart nothing moves before every party has said that it is ready",
        "I6": "nobody restarts over a trip that was not reset",
        "H1": "held is shown only when everybody stands",
        "H2": "whoever is at work does not say that it stands",
        "H3": "whoever starts anew stands until it is made ready",
        "H4": "when the procedure holds, everybody is told at once",
        "H5": "a coordinator that starts anew has everybody hold at once",
        "A1": "command numbers grow",
        "A2": "a command is sent again only if its party refused it",
        "A3": "an expired command is not obeyed",
        "A4": "a command is done once",
        "L1": "nothing begins without a fresh lease",
        "L2": "whoever has no lease comes to rest",
        "L3": "no lease is longer than the file's",
        "L4": "an arm begins nothing while a trip that it has heard of is not good",
        "R1": "no more tries than the file allows",
        "R2": "what must not be tried again alone waits for a person",
        "R3": "where a step's outcome is unknown, nothing moves without a person",
        "P1": "nothing moves for a side that waits for an answer",
        "P2": "a question is taken back once everybody is told to hold",
        "Z1": "never two sides in one zone",
        "T1": "no torque above the joint's own",
        "T2": "no bolt is pulled to a round before every bolt has reached the one before",
        "T3": "bolts that are pulled together stand opposite",
        "T4": "a record says what the tool reported",
        "T5": "what is recorded as done lies inside its windows",
        "W1": "the string moves only while both arms are parked",
        "E1": "after the last cause has healed the run ends, is held, or goes on within its bound",
        "E3": "a day on which nothing goes wrong ends complete",
        "E2": "complete means that every step was done well",
        "X1": "nobody of us is wrong: no invariant of our own breaks, nothing raises",
    }
)
