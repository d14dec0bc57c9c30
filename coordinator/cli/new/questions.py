"""Say what must be known to start a cell: questions, how answers are judged, what is suggested.

Facts of the site, such as torques and days of calibration, are asked and never suggested.

Units: answers stay text as an author writes it, with its unit; torque newton metre in suggestions.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from coordinator.bolting.constants import INCH_M
from coordinator.bolting.errors import BoltingError
from coordinator.bolting.grades import bolt_grade
from coordinator.bolting.hexes import heavy_hex_across_flats_m, metric_across_flats_m
from coordinator.bolting.threads import parse_thread
from coordinator.bolting.torque import Friction, wedge_form_torque_nm
from coordinator.cli.new.words import WORDS
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
    check: Check
    suggest: Callable[[Answers], str] | None = None
    """What follows from the answers before; None for a fact that only the site knows."""

    @property
    def text(self) -> str:
        """What is asked."""
        return WORDS[self.name][0]

    @property
    def example(self) -> str:
        """An answer, shown where nothing can be suggested."""
        return WORDS[self.name][1]

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


_length, _torque = _quantity(Dimension.LENGTH), _quantity(Dimension.TORQUE)
QUESTIONS: tuple[Question, ...] = (
    Question("first_side", _name),
    Question("second_side", _other_name),
    Question("hoist", _yes_no, _always("no")),
    Question("signals", _signals, _always("floor_clear:trip, supply_up:permissive")),
    Question("bolts", _bolts),
    Question("thread", _table(parse_thread)),
    Question("grade", _table(bolt_grade)),
    Question("bolt_circle", _length),
    Question("grip", _length),
    Question("engagement", _length),
    Question("hex_across_flats", _length, _flats),
    Question("stress", _quantity(Dimension.PRESSURE), _stress),
    Question("friction", _friction),
    Question("rounds", _list_of(_quantity(Dimension.SHARE)), _always("30 %, 60 %, 100 %")),
    Question("wrench_torque", _torque),
    Question("spinner_torque", _torque, _always("250 N.m")),
    Question("sockets", _list_of(_length), lambda answers: answers["hex_across_flats"]),
    Question("calibrated", _day),
    Question("calibration_due", _day),
    Question("loosening_torque", _torque, _loosening),
    Question("balance", _torque, _balance),
    Question(
        "text",
        _text,
        lambda answers: f"Two arms, {answers['first_side']} and {answers['second_side']}",
    ),
)
"""In the order in which they are asked: what is suggested may rest on the answers before."""
