"""The lifecycles of the product, as data.

Source: states and commands of the procedure are those of IEC 61512-1 (batch control, models and
terminology), procedural states; the others are ours.
"""

from coordinator.lifecycles.table import Lifecycle

PROCEDURE = Lifecycle.declare(
    "procedure",
    (
        "idle",
        "running",
        "pausing",
        "paused",
        "holding",
        "held",
        "restarting",
        "complete",
        "stopping",
        "stopped",
        "aborting",
        "aborted",
    ),
    (
        ("start", "idle", "running"),
        ("pause", "running", "pausing"),
        ("pause_done", "pausing", "paused"),
        ("resume", "pausing paused", "running"),
        ("hold", "running pausing paused restarting", "holding"),
        ("hold_done", "holding", "held"),
        ("restart", "held", "restarting"),
        ("restart_done", "restarting", "running"),
        ("finish", "running", "complete"),
        ("stop", "idle running pausing paused holding held restarting", "stopping"),
        ("stop_done", "stopping", "stopped"),
        (
            "abort",
            "idle running pausing paused holding held restarting stopping",
            "aborting",
        ),
        ("abort_done", "aborting", "aborted"),
    ),
)

STEP = Lifecycle.declare(
    "step",
    (
        "pending",
        "sent",
        "arming",
        "armed",
        "running",
        "faulted",
        "recovering",
        "prompted",
        "interrupted",
        "done",
    ),
    (
        ("send", "pending", "sent"),
        ("arm", "pending", "arming"),
        ("confirm", "arming", "armed"),
        ("release", "armed", "running"),
        ("disarm", "arming armed", "pending"),
        ("accept", "sent", "running"),
        ("finish", "sent running", "done"),
        ("fail", "sent arming armed running recovering pending done", "faulted"),
        ("recover", "faulted interrupted prompted pending", "recovering"),
        ("ask", "faulted interrupted recovering pending", "prompted"),
        ("withdraw", "prompted", "faulted"),
        ("interrupt", "sent arming armed running recovering", "interrupted"),
        ("again", "faulted recovering prompted interrupted done pending", "pending"),
    ),
)

BARRIER = Lifecycle.declare(
    "barrier",
    ("waiting", "arming", "released", "passed", "broken", "timed_out"),
    (
        ("arm", "waiting", "arming"),
        ("release", "arming", "released"),
        ("pass", "released", "passed"),
        ("break", "waiting arming released", "broken"),
        ("expire", "waiting arming released", "timed_out"),
        ("again", "waiting arming released passed broken timed_out", "waiting"),
    ),
)

ALARM = Lifecycle.declare(
    # States of IEC 62682 (alarm management); the words are its, from memory.
    "alarm",
    (
        "normal",
        "unacknowledged",
        "acknowledged",
        "returned_unacknowledged",
        "shelved",
    ),
    (
        ("raise", "normal returned_unacknowledged unacknowledged", "unacknowledged"),
        ("acknowledge", "unacknowledged", "acknowledged"),
        ("clear", "unacknowledged", "returned_unacknowledged"),
        ("clear_acknowledged", "acknowledged", "normal"),
        ("acknowledge_returned", "returned_unacknowledged", "normal"),
        ("shelve", "normal unacknowledged acknowledged returned_unacknowledged", "shelved"),
        ("unshelve", "shelved", "unacknowledged"),
        ("unshelve_good", "shelved", "normal"),
    ),
)

PROMPT = Lifecycle.declare(
    "prompt",
    ("open", "answered", "withdrawn"),
    (("answer", "open", "answered"), ("withdraw", "open", "withdrawn")),
)

ARM = Lifecycle.declare(
    "arm",
    ("held", "idle", "armed", "running", "holding"),
    (
        # An arm wakes up held: power coming back is no reason to move.
        ("make_ready", "held idle", "idle"),
        ("arm", "idle", "armed"),
        ("disarm", "armed", "idle"),
        ("begin", "idle armed", "running"),
        ("end", "running", "idle"),
        ("hold", "running", "holding"),
        ("stand", "idle armed holding running held", "held"),
    ),
)
