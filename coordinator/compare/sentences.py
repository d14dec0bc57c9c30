"""Say what of a step is not as it was, without saying yet of which step.

Steps to which the same happens are put together later; see `grouped`.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from coordinator.compare.change import About
from coordinator.compare.steps import Aspect, RuleFacts, Step
from coordinator.compare.words import apart, quantity, sentence, told_apart
from coordinator.draw.words import plain, result_words

_PULLED = {
    "pull": "pulled to",
    "confirm": "confirmed at",
    "check": "checked at",
    "break-out": "broken loose with at most",
}
_UNITS = {"_nm": "torque", "_pa": "pressure", "_rad": "angle", "_m": "length", "_n": "force"}


@dataclass(frozen=True, slots=True)
class Said:
    """What happened to a step; equal ones are told in one sentence."""

    about: About
    text: str
    """Follows the name of the step and a colon; or `{bolts} {are} ... {rounds}` is filled in."""
    is_of_bolts: bool = False


def sayings(was: Step, now: Step) -> Iterator[Said]:
    """Yield what is not as it was."""
    aspects = dict.fromkeys((*was.aspects, *now.aspects))
    for aspect in aspects:
        before, after = was.aspects.get(aspect), now.aspects.get(aspect)
        if before == after:
            continue
        match aspect[0]:
            case "parameter":
                yield _parameter(aspect[1], was, now)
            case "fault":
                yield from _fault(plain(aspect[1]), before, after)
            case _:
                yield _other(aspect, before, after)


def _parameter(name: str, was: Step, now: Step) -> Said:
    kind = now.kinds.get(name) or was.kinds.get(name, "text")
    before, after = (one.aspects.get(("parameter", name)) for one in (was, now))
    words = told_apart(after, before, kind)
    if kind == "torque" and now.record in _PULLED:
        said = f"{{bolts}} {{are}} now {_PULLED[now.record]} {words[0]}{{rounds}}, was {words[1]}"
        return Said("steps", said, is_of_bolts=True)
    return Said("steps", f"{plain(name)} is now {words[0]}, was {words[1]}")


def _fault(fault: str, was: object, now: object) -> Iterator[Said]:
    if not isinstance(now, RuleFacts):
        yield Said("faults", f"nothing is said any more about what follows {fault}; it holds")
        return
    if not isinstance(was, RuleFacts):
        tries = f"{now.attempts} tries, then {now.then}"
        yield Said("faults", f"{fault} is now followed by {tries}; nothing was said, so it held")
        return
    if now.attempts != was.attempts:
        times = f"tried {now.attempts} times, was {was.attempts}"
        yield Said("faults", f"at {fault} it is now {times}")
    if now.recover != was.recover:
        new, old = ("; ".join(one.recover) or "nothing" for one in (now, was))
        yield Said("faults", f"before it is tried again after {fault} it now does {new}, was {old}")
    if now.again_from != was.again_from:
        new, old = (one.again_from or "the step itself" for one in (now, was))
        yield Said("faults", f"after {fault} it is now tried again from {new}, was from {old}")
    if now.then != was.then:
        yield Said("faults", f"{fault} now ends in {now.then}, was {was.then}")


def _other(aspect: Aspect, was: object, now: object) -> Said:
    name, of = aspect
    if (said := sentence("step", name, now, was)) is not None:
        return Said("steps", said)
    match name:
        case "on_hold":
            return Said("steps", f"on a hold it must now {now}, was {was}")
        case "record":
            return Said("steps", f"is now recorded as {now or 'nothing'}, was {was or 'nothing'}")
        case "window":
            return _window(of, was, now)
        case "despite":
            return _despite(of, was, now)
        case _:
            new, old = (_after_words(one) for one in (now, was))
            return Said("order", f"now waits for {new}, was for {old}")


def _window(result: str, was: object, now: object) -> Said:
    unit = next((kind for suffix, kind in _UNITS.items() if result.endswith(suffix)), "number")
    name = result_words(result)

    def write(value: object, digits: int) -> str:
        if not isinstance(value, tuple):
            return "anything"
        return " to ".join(quantity(one, unit, digits, max(value)) for one in value)

    new, old = apart(write, now, was)
    return Said("steps", f"{name} is now accepted from {new}, was {old}")


def _despite(interlock: str, was: object, now: object) -> Said:
    if now is None:
        return Said("steps", f"may no longer move despite {interlock} (was allowed because {was})")
    if was is None:
        return Said("steps", f"may now move despite {interlock}, because {now}")
    return Said("steps", f"the reason to move despite {interlock} is now {now!r}, was {was!r}")


def _after_words(value: object) -> str:
    if not isinstance(value, tuple):
        return "the step above"
    return " and ".join(plain(str(one)) for one in value) or "nothing"
