"""The list of all oracles, with the invariants that they hold the program to."""

from coordinator.campaign.judge import Oracle
from coordinator.campaign.oracles_meeting import OneFate, Together
from coordinator.campaign.oracles_motion import Asked, AtRest, Gated, Leased, OnlyOnce
from coordinator.campaign.oracles_people import ReadyAgain, Renewed, TakenBack
from coordinator.campaign.oracles_told import AnswerTold, ResetTold, RestTold
from coordinator.campaign.oracles_work import AllDone, Overhead, Torqued, Zoned
from coordinator.invariants import texts_of

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
    RestTold,
    ResetTold,
    AnswerTold,
)
_JUDGED = (
    "B1 B2 B3 S1 S2 S3 S4 I1 I2 I3 I4 I5 I6 H1 H2 H3 H4 H5 A1 A2 A3 A4 L1 L2 L3 L4 "
    "R1 R2 R3 P1 P2 Z1 T1 T2 T3 T4 T5 W1 E1 E3 E2 X1 TD1 TD2 TD3"
)
PROMISES = texts_of(*_JUDGED.split())
"""What the oracles judge, in the words of the catalogue: they share its texts, and no code."""
