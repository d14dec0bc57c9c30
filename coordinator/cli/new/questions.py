"""Say what must be known to start a cell: questions, how answers are judged, what is suggested.

Units: answers stay text as an author writes it, with its unit; torque newton metre in suggestions.
Invariants: a fact of the site is never suggested; what is suggested follows from answers or
practice.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from coordinator.bolting.constants import INCH_M
from coordinator.bolting.errors import BoltingError
from coordinator.bolting.grades import bolt_grade
from coordinator.bolting.hexes import heavy_hex_across_flats_m, metric_across_flats_m
from coordinator.bolting.threads import parse_thread
from coordinator.bolting.torque import Friction, wedge_form_torque_nm
from coordinator.sequence.compiler.joint import bearing_diameter_m
from coordinator.sequence.form.quantities import Dimension, QuantityError, parse_quantity
from coordinator.sequence.models.fields import NAME_PATTERN, RESERVED

Answers = Mapping[str, str]
Check = Callable[[str, Answers], str | None]
"""Returns what is wrong with an answer, None if nothing is."""
SIGNAL_KINDS = ("interlock", "trip", "permissive")
_STRESS_SHARE = 0.5
# Of yield; common practice, no source.
_LOOSENING_SHARE = 1.5
# Of the target torque; common practice, no source.
_BALANCE_SHARE = 0.2
# Of the target torque, as where a joint gives no band.
_BALANCE_NM_MIN = 350.0
# A simulated wrench winds up by 250 N.m from one report to the next; the band must be wider.


@dataclass(frozen=True, slots=True)
class Question:
    """Something that must be known."""

    name: str
    """Also the name of its flag, with hyphens."""
    text: str
    check: Check
    example: str
    """Shown where nothing can be suggested."""
    suggest: Callable[[Answers], str] | None = None
    """What follows from the answers before; None for a fact that only the site knows."""

    @property
    def flag(self) -> str:
        """The flag that answers it; both sides have one, given twice."""
        if self.name.endswith("_side"):
            return "--side"
        if self.name == "hex_across_flats":
            return "--hex"
        return "--" + self.name.replace("_", "-")


def _name(answer: str, _: Answers) -> str | None:
    if re.fullmatch(NAME_PATTERN, answer) and answer not in RESERVED:
        return None
    return "must be small letters, digits and underscores, a letter first, and no reserved word"


def _other_name(answer: str, answers: Answers) -> str | None:
    if answer in (answers.get("first_side"), "hoist"):
        return "must be a name of its own"
    return _name(answer, answers)


def _text(answer: str, _: Answers) -> str | None:
    return None if answer.isprintable() else "must be one line of text that can be seen"


def _quantity(dimension: Dimension) -> Check:
    def check(answer: str, _: Answers) -> str | None:
        try:
            return None if parse_quantity(answer, dimension) > 0 else "must be above zero"
        except QuantityError as error:
            return f"{error.must}; {error.do}"

    return check


def _list_of(check: Check) -> Check:
    def check_all(answer: str, answers: Answers) -> str | None:
        wrong = (check(one.strip(), answers) for one in answer.split(","))
        return next((one for one in wrong if one is not None), None)

    return check_all


def _bolts(answer: str, _: Answers) -> str | None:
    is_even = answer.isascii() and answer.isdigit() and int(answer) % 2 == 0
    return None if is_even and 4 <= int(answer) <= 32 else "must be even, from 4 to 32"


def _table(look: Callable[[str], object]) -> Check:
    def check(answer: str, _: Answers) -> str | None:
        try:
            look(answer)
        except BoltingError as error:
            return str(error)
        return None

    return check


def _friction(answer: str, _: Answers) -> str | None:
    try:
        return None if 0.01 <= float(answer) < 1.0 else "must be from 0.01 to below 1"
    except ValueError:
        return "must be a number, such as 0.12"


def _day(answer: str, _: Answers) -> str | None:
    try:
        date.fromisoformat(answer)
    except ValueError:
        return "must be a day, such as 2027-08-03"
    return None


def _yes_no(answer: str, _: Answers) -> str | None:
    return None if answer in ("yes", "no") else "must be yes or no"


def _signals(answer: str, answers: Answers) -> str | None:
    for one in answer.split(","):
        name, _, kind = one.strip().partition(":")
        if kind not in SIGNAL_KINDS:
            return f"must be name:kind, the kind one of {', '.join(SIGNAL_KINDS)}"
        if (wrong := _name(name, answers)) is not None:
            return wrong
    return None


def _flats(answers: Answers) -> str:
    thread = parse_thread(answers["thread"])
    if answers["thread"].upper().startswith("M"):
        return f"{metric_across_flats_m(thread.major_diameter_m) * 1e3:g} mm"
    return f"{heavy_hex_across_flats_m(thread.major_diameter_m) / INCH_M:g} in"


def _stress(answers: Answers) -> str:
    diameter_m = parse_thread(answers["thread"]).major_diameter_m
    return f"{_STRESS_SHARE * bolt_grade(answers['grade']).at(diameter_m).yield_pa / 1e6:.0f} MPa"


def _target_nm(answers: Answers) -> float:
    """Return the torque that the answers so far come to."""
    thread = parse_thread(answers["thread"])
    preload_n = parse_quantity(answers["stress"], Dimension.PRESSURE) * thread.tensile_area_m2
    friction = Friction(float(answers["friction"]), float(answers["friction"]))
    bearing_m = bearing_diameter_m(
        thread, parse_quantity(answers["hex_across_flats"], Dimension.LENGTH)
    )
    return wedge_form_torque_nm(preload_n, thread, friction, bearing_m)


def _loosening(answers: Answers) -> str:
    wrench_nm = parse_quantity(answers["wrench_torque"], Dimension.TORQUE)
    return f"{min(_LOOSENING_SHARE * _target_nm(answers), wrench_nm):.0f} N.m"


def _balance(answers: Answers) -> str:
    return f"{max(_BALANCE_SHARE * _target_nm(answers), _BALANCE_NM_MIN):.0f} N.m"


def _always(text: str) -> Callable[[Answers], str]:
    return lambda _: text


def _today(years: int) -> str:
    day = date.today() + timedelta(days=365 * years)  # noqa: DTZ011 (a calendar day on site)
    return day.isoformat()


_length, _torque = _quantity(Dimension.LENGTH), _quantity(Dimension.TORQUE)
QUESTIONS: tuple[Question, ...] = (
    Question("first_side", "name of the first arm's side", _name, "left"),
    Question("second_side", "name of the second arm's side", _other_name, "right"),
    Question("hoist", "does a hoist bring and land the part", _yes_no, "yes", _always("no")),
    Question(
        "signals", "signals of the floor, each name:kind with a comma between", _signals,
        "floor_clear:trip", _always("floor_clear:trip, supply_up:permissive"),
    ),
    Question("bolts", "how many bolts", _bolts, "8"),
    Question("thread", "thread", _table(parse_thread), "M30 or 2-8UN"),
    Question("grade", "bolt grade", _table(bolt_grade), "8.8 or A193 B7"),
    Question("bolt_circle", "diameter of the bolt circle", _length, "420 mm"),
    Question("grip", "length between the bearing faces", _length, "120 mm"),
    Question("engagement", "how far the thread runs in to the shoulder", _length, "40 mm"),
    Question("hex_across_flats", "width across flats of the nuts", _length, "46 mm", _flats),
    Question("stress", "stress to reach in the bolts", _quantity(Dimension.PRESSURE), "320 MPa",
             _stress),
    Question("friction", "friction in thread and nut face", _friction, "0.12"),
    Question("rounds", "rounds, as shares of the target", _list_of(_quantity(Dimension.SHARE)),
             "30 %, 60 %, 100 %", _always("30 %, 60 %, 100 %")),  # ASME PCC-1
    Question("wrench_torque", "the most the wrenches may pull with", _torque, "3 kN.m"),
    Question("spinner_torque", "the most the spinners may turn with", _torque, "250 N.m",
             _always("250 N.m")),
    Question("sockets", "sockets of both tools, with a comma between", _list_of(_length), "46 mm",
             lambda answers: answers["hex_across_flats"]),
    Question("calibrated", "day on which the wrenches were calibrated", _day, _today(0)),
    Question("calibration_due", "last day on which that counts", _day, _today(1)),
    Question("loosening_torque", "torque above which a bolt counts as seized", _torque,
             "2 kN.m", _loosening),
    Question("balance", "how far the two sides may differ while they pull", _torque, "400 N.m",
             _balance),
    Question("text", "the cell in one line", _text, "Two arms on a quay",
             lambda answers: f"Two arms, {answers['first_side']} and {answers['second_side']}"),
)  # fmt: skip
"""In the order in which they are asked: what is suggested may rest on the answers before."""
