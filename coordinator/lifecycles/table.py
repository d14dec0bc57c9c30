"""Compile a `transitions` machine to a lookup table of (state, trigger) -> state."""

from dataclasses import dataclass

from transitions import Machine


class LifecycleError(Exception):
    """A lifecycle was asked for a move that it does not declare: we are wrong, not the world."""


@dataclass(frozen=True, slots=True)
class Lifecycle:
    """One declared lifecycle: its words, its table, its first state."""

    name: str
    states: tuple[str, ...]
    initial: str
    rows: tuple[tuple[str, str, str], ...]
    """(trigger, source, destination), one row for every source."""
    table: dict[tuple[str, str], str]

    @classmethod
    def declare(
        cls, name: str, states: tuple[str, ...], rows: tuple[tuple[str, str, str], ...]
    ) -> "Lifecycle":
        """Build the machine once, so that `transitions` checks it, and keep its table.

        Args:
            name: What has this lifecycle.
            states: Every state, the first one initial.
            rows: (trigger, sources, destination); sources separated by blanks.

        Raises:
            ValueError: a row names a state that is not declared (from `transitions`).
        """
        machine = Machine(
            model=None, states=list(states), initial=states[0], auto_transitions=False
        )
        for trigger, sources, destination in rows:
            for source in sources.split():
                machine.add_transition(trigger, source, destination)
        flat = tuple(
            (trigger, transition.source, transition.dest or transition.source)
            for trigger, event in machine.events.items()
            for group in event.transitions.values()
            for transition in group
        )
        table: dict[tuple[str, str], str] = {}
        for trigger, source, destination in flat:
            if table.setdefault((source, trigger), destination) != destination:
                raise LifecycleError(f"{name}: '{trigger}' from '{source}' has two destinations")
        return cls(name, states, states[0], flat, table)

    def after(self, state: str, trigger: str) -> str:
        """Return the state that `trigger` leads to.

        Raises:
            LifecycleError: the lifecycle declares no such move.
        """
        try:
            return self.table[state, trigger]
        except KeyError:
            raise LifecycleError(f"{self.name}: no '{trigger}' from '{state}'") from None

    def may(self, state: str, trigger: str) -> bool:
        """Tell whether `trigger` is declared for `state`."""
        return (state, trigger) in self.table
