"""Say how two joints differ: bolts, order of pulling, torques of the rounds, limits."""

from dataclasses import replace

from coordinator.compare.change import Change, listed
from coordinator.compare.words import SENTENCES, sentence, told_apart
from coordinator.sequence import JointFigures


def compare_joints(was: JointFigures, now: JointFigures) -> tuple[Change, ...]:
    """Return how the second joint differs from the first; none if they mean the same."""
    texts = []
    if was.thread.designation != now.thread.designation:
        texts.append(f"the thread is now {now.thread.designation}, was {was.thread.designation}")
    for name in SENTENCES["joint"]:
        before, after = getattr(was, name), getattr(now, name)
        if before != after:
            texts.append(sentence("joint", name, after, before) or name)
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
