"""Say what the page must show first: the sentence of now, and which acts of a person apply.

What applies is asked of the core itself: each act is decided on the present state and thrown away.

Units: ``*_us`` microseconds since the run began.
Invariants: PG13, an act is shown as possible only if the core would do it in this very state.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from coordinator.core.decide import decide
from coordinator.core.effects import AnswerCall
from coordinator.core.events import Act, OperatorActed
from coordinator.core.plan import Plan
from coordinator.core.state import ENDED, State

_PROBE = "asked by the page"
Row = Mapping[str, Any]


def acts_now(plan: Plan, state: State, now_us: int) -> list[dict[str, Any]]:
    """Return every act: whether the core would do it now, else why not."""
    shown = []
    for act in Act:
        asked = OperatorActed(at_us=max(now_us, 0), act=act, who=_PROBE, call=_PROBE)
        _, effects = decide(plan, state, asked)
        (answer,) = (one for one in effects if isinstance(one, AnswerCall))
        is_done = answer.outcome == "done"
        why = "" if is_done else answer.text.replace(f"{act.value}: ", "")
        shown.append({"act": act.value, "applies": is_done, "why": why})
    return shown


def present(snapshot: Row) -> dict[str, Any]:
    """Return what the sentence of now is about, and the act of a person that is expected.

    Args:
        snapshot: With phase, reason, lanes, prompts, interlocks, bolts, pull and acts.

    Returns:
        `key` names the sentence, `tone` is calm, warn or bad; `act` is the act expected, or empty.
    """
    phase = str(snapshot["phase"])
    if phase in ENDED:
        return _ended(snapshot, phase)
    if snapshot["prompts"]:
        first = snapshot["prompts"][0]
        side, act = first["side"], "answer"
        key = "hold_point" if first["fault"] == "hold_point" else "asked"
        return {"key": key, "tone": "warn", "act": act, "side": side, "about": first["about"]}
    if phase in ("held", "holding"):
        return _held(snapshot, phase)
    if phase == "paused":
        return {"key": "paused", "tone": "warn", "act": "resume"}
    if phase == "idle":
        is_ready = _applies(snapshot, "start")
        return {"key": "ready" if is_ready else "not_ready", "tone": "calm", "act": "start"}
    if phase != "running":
        return {"key": phase, "tone": "calm", "act": ""}
    return _running(snapshot)


def _running(snapshot: Row) -> dict[str, Any]:
    pull = snapshot["pull"]
    if pull["is_paired"]:
        return {"key": "pair", "tone": "calm", "act": "", "bolts": pull["bolts"]}
    busy = [
        {"side": lane["name"], "act": lane["act"]}
        for lane in snapshot["lanes"]
        if lane["act"] is not None and not lane["is_waiting"]
    ]
    lost = [lane["name"] for lane in snapshot["lanes"] if not lane["is_online"]]
    if lost:
        return {"key": "lost", "tone": "bad", "act": "", "sides": lost}
    if not busy and snapshot["mode"] != "automatic":
        return {"key": "step", "tone": "warn", "act": "step"}
    return {"key": "busy" if busy else "waiting", "tone": "calm", "act": "", "busy": busy}


def _held(snapshot: Row, phase: str) -> dict[str, Any]:
    latched = [one for one in snapshot["interlocks"] if one["is_latched"]]
    first = next((one for one in latched if one["is_first_out"]), latched[0] if latched else None)
    if first is not None:
        return {"key": "tripped", "tone": "bad", "act": "reset", "interlock": first["name"]}
    bad = [one for one in snapshot["interlocks"] if one["value"] != "good"]
    watched = [one for one in bad if one["kind"] != "permissive"]
    act = "restart" if phase == "held" else ""
    if watched:
        return {"key": "blocked", "tone": "bad", "act": act, "interlock": watched[0]["name"]}
    return {"key": phase, "tone": "warn", "act": act}


def _ended(snapshot: Row, phase: str) -> dict[str, Any]:
    verdict = snapshot["joint_verdict"]
    bad = [one["bolt"] for one in snapshot["bolts"] if one["state"] != "good"]
    if phase != "complete":
        return {"key": phase, "tone": "warn", "act": "", "bolts": bad}
    if verdict is None:
        return {"key": "complete", "tone": "calm", "act": ""}
    if not verdict["is_accepted"]:
        return {"key": "rejected", "tone": "bad", "act": "", "bolts": bad}
    return {"key": "accepted", "tone": "calm", "act": ""}


def _applies(snapshot: Row, act: str) -> bool:
    acts: Sequence[Row] = snapshot["acts"]
    return any(one["act"] == act and one["applies"] for one in acts)
