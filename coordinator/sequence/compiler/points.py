"""Judge the questions to people, and make the nodes of hold points and witness points.

A hold point is not passed before a person has released it; a witness point is told to whoever may
want to see what follows, and passed.

Only a hold point can be released: a fault is tried again instead.

Invariants: SQ14, from every prompt that a step can come to, some answer leads on.

Source:
    Hold point and witness point mean what they mean in inspection and test plans; common practice,
    no source.
"""

from coordinator.core.plan import Exhausted, Node, NodeKind, Option, Prompt
from coordinator.sequence.compiler.barriers import instance_name
from coordinator.sequence.compiler.expand import Input, Item, Loops
from coordinator.sequence.models.sequence_model import PointModel, PointStep, PromptModel


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
                what = f"point {name!r} offers {word.value!r}"
                must, do = "must offer release, hold or abort", "take it out: no step has failed"
                given.tell(
                    ("points", name, "options", word.value), "SEQ060", what, must, do, key=True
                )
        if "release" not in point.options:
            what, must = f"point {name!r} does not offer 'release'", "must offer it"
            given.tell(("points", name, "options"), "SEQ060", what, must, "add 'release:'")
        if name in given.sequence.prompts:
            what, must = f"point is called {name!r} like a prompt", "must have a name of its own"
            given.tell(("points", name), "SEQ010", what, must, "rename one of them", key=True)


def check_ways_on(given: Input, nodes: tuple[Node, ...]) -> None:
    """Tell of prompts none of whose answers leads on to complete from a step that can ask them.

    To hold comes back to the same question, and so does backing off; to leave or abort ends it.
    """
    prompts = tuple(given.sequence.prompts.items())
    for node in nodes:
        ways_on = _ways_on(node)
        for rule in node.rules:
            if rule.then is not Exhausted.ASK or not 0 <= rule.prompt < len(prompts):
                continue
            name, model = prompts[rule.prompt]
            if any(option in model.options for option in ways_on):
                continue
            what = f"prompt {name!r} offers only {', '.join(model.options)}, and "
            what += f"{node.name!r} asks it for {rule.fault!r}"
            must = f"must offer {', '.join(ways_on[:-1])} or {ways_on[-1]}"
            do = "add one, or write 'then: hold' for this fault, which a restart tries again"
            given.tell(("prompts", name, "options"), "SEQ079", what, must, do, key=True)


def _ways_on(node: Node) -> tuple[Option, ...]:
    """Return the answers that lead on from a fault of a step."""
    if node.span >= 0 and "round" in dict(node.loops):
        return Option.AGAIN, Option.BY_HAND, Option.REPLACE_BOLT, Option.BACK_A_ROUND
    return Option.AGAIN, Option.BY_HAND


def plan_prompts(given: Input) -> tuple[Prompt, ...]:
    """Return every question of a sequence: its prompts, then its points, in file order."""
    asked: dict[str, PromptModel | PointModel] = {**given.sequence.prompts, **given.sequence.points}
    return tuple(_prompt(name, model) for name, model in asked.items())


def _prompt(name: str, model: PromptModel | PointModel) -> Prompt:
    return Prompt(name, model.text, model.caution, tuple(model.options.items()), model.who)


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
        here = (*item.trail, "point")
        self._given.knows(here, "SEQ059", "point", step.point, points, of="points of this file")
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
