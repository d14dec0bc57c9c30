"""Judge the questions to people, and make the nodes of hold points and witness points.

A hold point is not passed before a person has released it; a witness point is told to whoever may
want to see what follows, and passed.

Keeps: a hold point can be released; nothing else can, for a fault is not released but tried again.

Source:
    Hold point and witness point mean what they mean in inspection and test plans; common practice,
    no source.
"""

from coordinator.core.plan import Node, NodeKind, Option, Prompt
from coordinator.sequence.barriers import instance_name
from coordinator.sequence.diagnostics import choose_from
from coordinator.sequence.expand import Input, Item, Loops
from coordinator.sequence.sequence_model import PointModel, PointStep, PromptModel


def check_questions(given: Input) -> None:
    """Tell of prompts and points whose options do not suit them."""
    for name, model in given.sequence.prompts.items():
        if "release" in model.options:
            what, must = f"prompt {name!r} offers 'release'", "must offer again, hold or abort"
            do = "ask for a release at a hold point"
            given.tell(("prompts", name, "options", "release"), "SEQ060", what, must, do, key=True)
    for name, point in given.sequence.points.items():
        for word in point.options:
            if word not in ("release", "hold", "abort"):
                what = f"point {name!r} offers {word!r}"
                must, do = "must offer release, hold or abort", "take it out: no step has failed"
                given.tell(("points", name, "options", word), "SEQ060", what, must, do, key=True)
        if "release" not in point.options:
            what, must = f"point {name!r} does not offer 'release'", "must offer it"
            given.tell(("points", name, "options"), "SEQ060", what, must, "add 'release:'")
        if name in given.sequence.prompts:
            what, must = f"point is called {name!r} like a prompt", "must have a name of its own"
            given.tell(("points", name), "SEQ010", what, must, "rename one of them", key=True)


def plan_prompts(given: Input) -> tuple[Prompt, ...]:
    """Return every question of a sequence: its prompts, then its points, in file order."""
    asked: dict[str, PromptModel | PointModel] = {**given.sequence.prompts, **given.sequence.points}
    return tuple(_prompt(name, model) for name, model in asked.items())


def _prompt(name: str, model: PromptModel | PointModel) -> Prompt:
    options = tuple((Option(word), does) for word, does in model.options.items())
    return Prompt(name, model.text, model.caution, options, model.who)


class PointMaker:
    """Makes the nodes of points."""

    def __init__(self, given: Input) -> None:
        """Keep the files."""
        self._given = given
        first = len(given.sequence.prompts)
        self._prompts = {name: first + at for at, name in enumerate(given.sequence.points)}

    def node(self, item: Item, step: PointStep, after: tuple[int, ...]) -> Node:
        """Return the node of one point; tells of a point that is not declared."""
        points = self._given.sequence.points
        model = points.get(step.point)
        if model is None:
            must, do = choose_from(step.point, points, "points of this file")
            what = f"point is {step.point!r}"
            self._given.tell((*item.trail, "point"), "SEQ059", what, must, do)
        return Node(
            name=instance_name(step.point.replace("_", " "), _loops(item)),
            lane=item.lane,
            kind=NodeKind.POINT,
            after=after,
            prompt=self._prompts.get(step.point, -1),
            is_witness=model is not None and model.kind == "witness",
            origin=self._given.document.origin(item.trail),
        )


def _loops(item: Item) -> Loops:
    """Return the loops around a point, with the bolt itself instead of its place in the loop.

    Barriers are told apart by the place, which is the same on both sides; whoever reads a question
    goes to the joint and looks for a bolt.
    """
    return tuple(
        ("bolt", item.place.own_bolt) if kind == "own_bolt" else (kind, number)
        for kind, number in item.place.loops
    )
