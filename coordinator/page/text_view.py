"""Put a snapshot into plain text, for a slow line or a reader without pictures."""

from coordinator.page.board import Snapshot


def to_text(now: Snapshot) -> str:
    """Return the same content as the page, line by line."""
    lines = [
        now["caution"],
        f"{now['sequence']}, run {now['run']}, {now['at_s']:.0f} s",
        f"the procedure is {now['phase']}" + (f": {now['reason']}" if now["reason"] else ""),
    ]
    if now["caps"]:
        lines.append(now["caps"].removesuffix(": "))
    if now["mode"] != "automatic":
        lines.append(f"mode: {now['mode']}")
    lines += [
        f"OVERRIDE {one['name']} by {one['who']}, {one['why']}, {one['left_s']} s left"
        for one in now["overrides"]
    ]
    for one in now["alarms"]:
        first = ", FIRST OUT" if one["is_first"] else ""
        lines.append(f"ALARM {one['name']} {one['state']}{first}: {one['cause']}")
        lines.append(f"  {one['consequence']}; {one['operator_action']}")
    to_go = now.get("to_go")
    if to_go:
        lines.append(f"to go {to_go['left_s']:.0f} s by the rehearsal, limited by {to_go['side']}")
    for prompt in now["prompts"]:
        lines += _prompt_lines(prompt)
    lines.append("")
    lines += [_lane_line(lane) for lane in now["lanes"]]
    lines += [f"{_missing(one)}, the last noticed at {one['at_s']:.0f} s" for one in now["missed"]]
    for barrier in now["barriers"]:
        parties = ", ".join(
            f"{p['name']} {p['state']} since {p['at_s']:.0f} s" for p in barrier["parties"]
        )
        lines.append(f"barrier {barrier['name']}: {parties}")
    lines.append("")
    for one in now["interlocks"]:
        age = "never heard" if one["age_s"] is None else f"{one['age_s']:.1f} s old"
        extra = (", LATCHED" if one["is_latched"] else "") + (
            ", FIRST OUT" if one["is_first_out"] else ""
        )
        words = f"; {one['words']}" if one["words"] else ""
        lines.append(f"{one['kind']} {one['name']}: {one['value']}, {age}{extra}{words}")
    lines.append("")
    for one in now["bolts"]:
        at = "" if one["at_s"] is None else f", at {one['at_s']:.0f} s"
        lines.append(f"bolt {one['bolt']} ({one['side']}): {one['word']}{at}")
    lines.append("")
    lines += [line for story in now["holds"] for line in story]
    for one in reversed(now["notices"]):
        lines.append(f"{one['at_s']:.1f} s {one['severity']}: {one['text']}")
    return "\n".join(lines) + "\n"


def _lane_line(lane: Snapshot) -> str:
    waits = "; ".join(lane["unmet"])
    doing = lane["doing"] or (f"waits for {waits}" if waits else "idle")
    heard = f"heard {lane['seen_s']:.1f} s ago" if lane["is_online"] else "NOT ON THE BUS"
    return f"{lane['name']}: {doing} since {lane['since_s']:.0f} s; {heard}; next {lane['next']}"


def _missing(one: Snapshot) -> str:
    way = "never reached it" if one["by_party"] else "never came"
    return f"warning: {one['party']}: {one['messages']} messages {way}"


def _prompt_lines(prompt: Snapshot) -> list[str]:
    asked = f"PROMPT {prompt['number']}, {prompt['side']}, {prompt['step']}, {prompt['fault']}"
    lines = ["", f"{asked}: {prompt['text']}", prompt["caution"]]
    lines.append(f"  asked at {prompt['asked_at_s']:.0f} s")
    if prompt["evidence"]:
        measured = ", ".join(f"{name} {value}" for name, value in prompt["evidence"].items())
        lines.append(f"  evidence, as of {prompt['evidence_at_s']:.0f} s: {measured}")
    if prompt["owner"]:
        lines.append(f"  this prompt is {prompt['owner']}'s")
    lines += [f"  {one['option']}: {one['meaning']}" for one in prompt["options"]]
    for one in prompt["causes"]:
        lines += [
            f"  may be {one['cause']} ({one['code']}): {one['text']}",
            f"    sign: {one['signature']}; way on: {one['recovery']} ({one['retried']})",
        ]
    return lines + [f"  {line}" for line in prompt["foreseen"]]
