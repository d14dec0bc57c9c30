"""What each party has said about the steel, so that one that starts anew can be told.

Invariants: F3, a fact is repeated only by its writer, or to its writer after a new start.
"""

from collections.abc import Mapping

from coordinator.wire.messages import Value
from sim_arms.ledger import Metal
from sim_arms.workbench import Workbench


class FactExchange:
    """The facts that one party wrote, and those that it heard, by who wrote them."""

    def __init__(self, bench: Workbench) -> None:
        """Exchange the facts of one bench."""
        self._bench = bench
        self._written: dict[str, Value] = {}
        self._heard: dict[str, dict[str, Value]] = {}

    def metal(self) -> Metal:
        """Return what outlives the process: all that the bench ever wrote, and how it stands."""
        return Metal(self._written, self._bench.standing())

    def recall(self, metal: Metal | None) -> None:
        """Take up what there was before the process started anew; None for its first start."""
        if metal is not None:
            self._written.update(metal.facts)
            self._bench.apply(metal.facts)
            self._bench.stand(metal.standing)

    def changes(self) -> Mapping[str, Value]:
        """Return what the bench wrote since the last call."""
        changes = self._bench.take_changes()
        self._written.update(changes)
        return changes

    def greeting(self) -> tuple[Mapping[str, Value], ...]:
        """Return what to say when the link comes up.

        The empty one asks the others for what they know. What was said while the link was down is
        lost, so everything written follows.
        """
        return ({}, dict(self._written)) if self._written else ({},)

    def take(self, source: str, facts: Mapping[str, Value]) -> Mapping[str, Value]:
        """Take facts up, and return what is to be told in answer.

        Args:
            source: Who wrote them.
            facts: Empty from a party that starts anew and asks for everything.
        """
        heard = self._heard.setdefault(source, {})
        if not facts:
            return self._written | heard
        heard.update(facts)
        self._bench.apply(facts)
        return {}
