"""Judge a run from the arms' side alone: their ledgers and the commands that reached them.

Invariants: independence, nothing here asks the coordinator what it believes.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from coordinator.core.plan import NodeKind, Plan
from coordinator.wire.messages import Do, Finished, Message, Release, Started
from sim_arms.ledger import MemoryStore


class KeptLedger(MemoryStore):
    """A ledger store that also keeps every entry ever written, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.entries: list[Message] = []

    def write(self, command: int, message: Message) -> None:
        """Keep the entry, as a ledger and as history."""
        self.entries.append(message)
        super().write(command, message)


@dataclass(slots=True)
class ArmSide:
    """What reached the parties, and what their ledgers say that they did."""

    stores: dict[str, KeptLedger] = field(default_factory=dict)
    commands: dict[tuple[str, int], Do] = field(default_factory=dict)
    orders: list[Message] = field(default_factory=list)
    """All that was asked of them and released, in the order in which it reached each."""

    def heard(self, time_us: int, target: str, message: Message) -> None:
        """Take in one delivery of the bus."""
        if isinstance(message.body, Do | Release):
            self.orders.append(message)
        if isinstance(message.body, Do):
            self.commands[message.subject, message.body.command] = message.body

    def finished(self) -> dict[tuple[str, str, str], list[Do]]:
        """Return, by party, step and action, the commands that the ledgers call finished."""
        found: dict[tuple[str, str, str], list[Do]] = defaultdict(list)
        for party, message in self._entries():
            if isinstance(message.body, Finished):
                do = self.commands[party, message.body.command]
                found[party, do.step, do.action].append(do)
        return found

    def double_pulls(self, window_us: int | None = None) -> list[str]:
        """Return the pulls done again although both sides of their meeting had finished.

        Args:
            window_us: Starts further apart than this were none that count, so both pull again, as
                the sequence says; None where no machine is so busy.
        """
        both: dict[str, dict[str, str]] = defaultdict(dict)
        starts_us: dict[str, dict[str, int]] = defaultdict(dict)
        told = []
        closed: dict[tuple[str, str], str] = {}
        for party, message in self._entries():
            do = self.commands.get((party, getattr(message.body, "command", 0)))
            if do is None or do.action != "pull" or do.barrier is None:
                continue
            if isinstance(message.body, Started) and (party, do.step) in closed:
                told.append(f"{party}: {do.step} again after {closed[party, do.step]}")
            if isinstance(message.body, Started):
                starts_us[do.barrier][party] = message.body.started_us
            if isinstance(message.body, Finished):
                both[do.barrier][party] = do.step
                times_us = starts_us[do.barrier].values()
                is_late = window_us is not None and max(times_us) - min(times_us) > window_us
                if len(both[do.barrier]) == 2 and not is_late:
                    closed |= dict.fromkeys(both[do.barrier].items(), do.barrier)
        return told

    def repeated_steps(self, plan: Plan) -> list[str]:
        """Return the steps outside paired spans that were finished more than once."""
        spans = {(plan.parties[n.lane].name, n.name) for n in plan.nodes if n.span >= 0}
        own = {
            (plan.parties[n.lane].name, n.name, n.move.action)
            for n in plan.nodes
            if n.move is not None
        }
        return [
            f"{party}: {step} finished {len(times)} times"
            for (party, step, action), times in self.finished().items()
            if len(times) > 1 and (party, step, action) in own and (party, step) not in spans
        ]

    def missing_steps(self, plan: Plan) -> list[str]:
        """Return the steps that no ledger says were ever finished."""
        finished = self.finished()
        wanted = [
            (plan.parties[n.lane].name, n.name, n.move.action)
            for n in plan.nodes
            if n.kind is NodeKind.STEP and n.move is not None
        ]
        return [f"{one[0]}: {one[1]} never done" for one in wanted if one not in finished]

    def differences(self, plan: Plan, done: Sequence[bool]) -> list[str]:
        """Return where a coordinator believes otherwise than the ledgers say.

        Args:
            plan: What is to be done.
            done: For each node whether the coordinator believes it done. What one side alone has
                finished of a paired span may be started over.
        """
        finished = self.finished()
        wrong = []
        for index, node in enumerate(plan.nodes):
            if node.kind is not NodeKind.STEP or node.move is None:
                continue
            key = (plan.parties[node.lane].name, node.name, node.move.action)
            if done[index] and key not in finished:
                wrong.append(f"{key[0]}: {key[1]} believed done, never finished")
            if not done[index] and key in finished and not self._may_start_over(plan, index):
                wrong.append(f"{key[0]}: {key[1]} finished, believed undone")
        return wrong

    def _may_start_over(self, plan: Plan, index: int) -> bool:
        """Tell whether a finished node lies in a span that has not been pulled on both sides."""
        span = plan.nodes[index].span
        if span < 0:
            return False
        finished = self.finished()
        pulls = [
            (plan.parties[node.lane].name, node.name, node.move.action)
            for node in plan.nodes
            if node.span == span and node.move is not None and node.move.action == "pull"
        ]
        return not pulls or any(pull not in finished for pull in pulls)

    def _entries(self) -> list[tuple[str, Message]]:
        """Return all entries of all ledgers in the order of their times, which the arms wrote."""
        entries = [(m.source, m) for store in self.stores.values() for m in store.entries]
        return sorted(entries, key=lambda one: one[1].sent_us)
