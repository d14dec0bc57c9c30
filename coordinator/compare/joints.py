"""Say how two joints differ: bolts, order of pulling, torques of the rounds, limits."""

from dataclasses import replace

from coordinator.compare.change import Change, listed
from coordinator.compare.words import told_apart
from coordinator.sequence import JointFigures

_FIGURES: tuple[tuple[str, str, str], ...] = (
    ("bolt_count", "count", "the joint now has {now} bolts, was {was}"),
    ("grade", "says", "the bolts are now of grade {now}, was {was}"),
    ("bolt_circle_m", "length", "the bolt circle is now {now}, was {was}"),
    ("grip_m", "length", "the grip is now {now}, was {was}"),
    ("engagement_m", "length", "the thread now runs in by {now}, was {was}"),
    ("hex_across_flats_m", "length", "the hex is now {now} across flats, was {was}"),
    ("friction", "number", "friction is now reckoned at {now}, was {was}"),
    ("stress_pa", "pressure", "the bolts are now stressed to {now}, was {was}"),
    ("preload_n", "force", "each bolt now ends at a preload of {now}, was {was}"),
    ("torque_nm", "torque", "the target torque is now {now}, was {was}"),
    ("tolerance", "share", "torque is now accepted within {now} of its target, was {was}"),
    ("balance_nm", "torque", "the two sides may now differ by {now} while they pull, was {was}"),
    ("check_angle_rad", "angle", "a nut may now turn by {now} in the check pass, was {was}"),
    (
        "loosening_torque_max_nm",
        "torque",
        "a bolt now counts as seized above {now}, was {was}",
    ),
)


def compare_joints(was: JointFigures, now: JointFigures) -> tuple[Change, ...]:
    """Return how the second joint differs from the first; none if they mean the same."""
    texts = []
    if was.thread.designation != now.thread.designation:
        texts.append(f"the thread is now {now.thread.designation}, was {was.thread.designation}")
    for name, kind, sentence in _FIGURES:
        before, after = getattr(was, name), getattr(now, name)
        if before != after:
            new, old = told_apart(after, before, kind)
            texts.append(sentence.format(now=new, was=old))
    texts += _rounds(was, now)
    texts += _order(was, now)
    if was.pins != now.pins:
        holes = [listed([str(hole) for hole in one.pins]) for one in (now, was)]
        texts.append(f"the guide pins now stand in holes {holes[0]}, was {holes[1]}")
    if not texts and was != replace(now, name=was.name, text=was.text):
        texts.append("the joint differs in a figure that has no words here; compare its file")
    return tuple(Change("joint", text) for text in texts)


def _rounds(was: JointFigures, now: JointFigures) -> list[str]:
    texts = []
    if len(was.rounds) != len(now.rounds):
        texts.append(f"the bolts are now pulled in {len(now.rounds)} rounds, was {len(was.rounds)}")
    for before, after in zip(was.rounds, now.rounds, strict=False):
        if before.torque_nm != after.torque_nm or before.share != after.share:
            torque = told_apart(after.torque_nm, before.torque_nm, "torque")
            share = told_apart(after.share, before.share, "share")
            texts.append(
                f"round {after.number} now pulls to {torque[0]} ({share[0]} of the target), "
                f"was {torque[1]} ({share[1]})"
            )
    for extra in now.rounds[len(was.rounds) :]:
        pulled, _ = told_apart(extra.torque_nm, 0.0, "torque")
        texts.append(f"round {extra.number} is new and pulls to {pulled}")
    return texts


def _order(was: JointFigures, now: JointFigures) -> list[str]:
    if was.pairs == now.pairs:
        return []
    orders = [", ".join(f"{one}+{two}" for one, two in joint.pairs) for joint in (now, was)]
    return [f"opposite bolts are now pulled in the order {orders[0]}, was {orders[1]}"]
