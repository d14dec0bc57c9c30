"""What `new` asks, and an answer to each as an example; also the help of its options.

It stands by itself, since help must not wait for the tables of threads and grades.
"""

from typing import Annotated, Any

import typer

WORDS: dict[str, tuple[str, str]] = {
    "first_side": ("name of the first arm's side", "left"),
    "second_side": ("name of the second arm's side", "right"),
    "hoist": ("does a hoist bring and land the part", "yes"),
    "signals": ("signals of the floor, each name:kind with a comma between", "floor_clear:trip"),
    "bolts": ("how many bolts", "8"),
    "thread": ("thread", "M30 or 2-8UN"),
    "grade": ("bolt grade", "8.8 or A193 B7"),
    "bolt_circle": ("diameter of the bolt circle", "420 mm"),
    "grip": ("length between the bearing faces", "120 mm"),
    "engagement": ("how far the thread runs in to the shoulder", "40 mm"),
    "hex_across_flats": ("width across flats of the nuts", "46 mm"),
    "stress": ("stress to reach in the bolts", "320 MPa"),
    "friction": ("friction in thread and nut face", "0.12"),
    "rounds": ("rounds, as shares of the target", "30 %, 60 %, 100 %"),
    "wrench_torque": ("the most the wrenches may pull with", "3 kN.m"),
    "spinner_torque": ("the most the spinners may turn with", "250 N.m"),
    "sockets": ("sockets of both tools, with a comma between", "46 mm"),
    "calibrated": ("day on which the wrenches were calibrated", "2030-08-03"),
    "calibration_due": ("last day on which that counts", "2030-08-03"),
    "loosening_torque": ("torque above which a bolt counts as seized", "2 kN.m"),
    "balance": ("how far the two sides may differ while they pull", "400 N.m"),
    "text": ("the cell in one line", "Two arms on a quay"),
}
"""Name of a question: what is asked, an answer."""


def answer_option(name: str) -> Any:
    """Return the option that answers a question, as the command line declares it."""
    text, example = WORDS[name]
    flags = ("--hex",) if name == "hex_across_flats" else ()
    told = f"{text[0].upper()}{text[1:]}, such as '{example}'."
    return Annotated[str | None, typer.Option(*flags, show_default=False, help=told)]
