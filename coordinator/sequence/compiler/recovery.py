"""Turn policies into the rules of steps: what follows which fault, with which moves.

Invariants: SQ13, a step carries rules only for faults that it can raise, and none leads back over a
barrier.
"""

from collections.abc import Callable, Mapping

from coordinator.core.plan import Exhausted, Move, Rule, Value
from coordinator.sequence.compiler.expand import Input, Item
from coordinator.sequence.compiler.moves import MoveMaker
from coordinator.sequence.compiler.order import Ids, known_ids
from coordinator.sequence.compiler.references import Scope, joint_group
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.cell_model import ActionModel
from coordinator.sequence.models.sequence_model import AskModel, BarrierStep, DoStep, RuleModel

ANY_STEP_FAULTS = ("silent", "refused", "timeout", "outcome_unknown")
"""What the coordinator itself can find about any step."""

SPAN_FAULTS = ("out_of_step", "out_of_balance")
"""What it can find about the two sides of a paired span."""

WINDOW_FAULT = "out_of_window"
"""What it finds when a result lies outside its window."""

ATTEMPTS_MAX = 10
Taken = Callable[[str], Mapping[str, Value]]


def check_policies(given: Input) -> None:
    """Tell what is wrong with the policies by themselves: names, attempts, faults never retried."""
    faults = given.cell.faults
    then = given.sequence.otherwise
    prompts, of = given.sequence.prompts, "prompts of this file"
    if isinstance(then, AskModel):
        given.knows(("otherwise", "ask"), "SEQ024", "prompt", then.ask, prompts, of=of)
    for policy, rules in given.sequence.policies.items():
        for fault, rule in rules.items():
            trail: Trail = ("policies", policy, fault)
            is_known = given.knows(
                trail, "SEQ030", "fault", fault, faults, of="faults of the cell", key=True
            )
            if is_known and rule.attempts > 1 and not faults[fault].alone:
                what = f"{fault!r} is tried {rule.attempts} times"
                must = "must not be tried again without a person (alone: no)"
                given.tell((*trail, "attempts"), "SEQ041", what, must, "take 'attempts' out")
            if not 1 <= rule.attempts <= ATTEMPTS_MAX:
                must, do = f"must be from 1 to {ATTEMPTS_MAX}", "bound the attempts"
                what = f"attempts is {rule.attempts}"
                given.tell((*trail, "attempts"), "SEQ042", what, must, do)
            if isinstance(rule.then, AskModel):
                here = (*trail, "then", "ask")
                given.knows(here, "SEQ024", "prompt", rule.then.ask, prompts, of=of)


class RuleMaker:
    """Makes the rules of steps and remembers which rules were of use."""

    def __init__(self, given: Input, moves: MoveMaker, ids: Ids, items: tuple[Item, ...]) -> None:
        """Keep the files, the unfolded steps and the ids."""
        self._given = given
        self._moves = moves
        self._ids = ids
        self._items = items
        self._prompts = {name: place for place, name in enumerate(given.sequence.prompts)}
        self._scope = Scope(groups={"joint": joint_group(given.joint)})
        self._raised: dict[tuple[str, str], bool] = {}

    def rules(
        self,
        node: int,
        action: ActionModel,
        taken: Taken | None,
        *,
        is_in_span: bool,
    ) -> tuple[Rule, ...]:
        """Return the rules of the step at `node`; without `taken` only its policy is judged."""
        own = self._own_rules(node, action, taken, is_in_span=is_in_span)
        if taken is None:
            return ()
        found = self._found_by_us(node, is_in_span=is_in_span)
        return (*own, *self._otherwise(node, action, found, {rule.fault: True for rule in own}))

    def _found_by_us(self, node: int, *, is_in_span: bool) -> tuple[str, ...]:
        """Return the faults that the coordinator finds about a step, whatever its action raises.

        An unknown outcome is not among them: a person is asked about it in any case.
        """
        step = self._items[node].step
        anywhere = tuple(fault for fault in ANY_STEP_FAULTS if fault != "outcome_unknown")
        in_span = SPAN_FAULTS if is_in_span else ()
        has_window = isinstance(step, DoStep) and step.expect
        return (*anywhere, *in_span, *((WINDOW_FAULT,) if has_window else ()))

    def _otherwise(
        self, node: int, action: ActionModel, found: tuple[str, ...], handled: Mapping[str, bool]
    ) -> list[Rule]:
        """Return rules for what the policy does not speak of; tells if nobody says what then."""
        step = self._items[node].step
        policy = step.policy if isinstance(step, DoStep) else None
        open_faults = [fault for fault in action.raises if fault not in handled]
        if policy is not None and policy not in self._given.sequence.policies:
            return []  # Told already; a misspelt policy is not a missing one.
        then = self._given.sequence.otherwise
        if then is None:
            self._tell_unhandled(node, open_faults)
            return []
        open_faults += [one for one in found if one not in handled and one not in open_faults]
        if isinstance(then, AskModel):
            prompt = self._prompts.get(then.ask, -1)
            return [Rule(fault, then=Exhausted.ASK, prompt=prompt) for fault in open_faults]
        # A plan without a rule holds: nothing needs to be written for it.
        is_hold = Exhausted(then) is Exhausted.HOLD
        return [] if is_hold else [Rule(fault, then=Exhausted(then)) for fault in open_faults]

    def _tell_unhandled(self, node: int, faults: list[str]) -> None:
        item = self._items[node]
        if not faults or not isinstance(item.step, DoStep):
            return
        what = f"{item.step.do!r} may raise {', '.join(faults)}"
        self._given.tell((*item.trail, "do"), "SEQ067", what)

    def _own_rules(
        self,
        node: int,
        action: ActionModel,
        taken: Taken | None,
        *,
        is_in_span: bool,
    ) -> tuple[Rule, ...]:
        """Return the rules that the step's own policy gives."""
        step = self._items[node].step
        if not isinstance(step, DoStep) or step.policy is None:
            return ()
        known, of = self._given.sequence.policies, "policies of this file"
        here = (*self._items[node].trail, "policy")
        is_known = self._given.knows(here, "SEQ023", "policy", step.policy, known, of=of)
        if not is_known or taken is None:
            return ()
        can_raise = (*action.raises, *ANY_STEP_FAULTS)
        can_raise += SPAN_FAULTS if is_in_span else ()
        can_raise += (WINDOW_FAULT,) if step.expect else ()
        rules = []
        for fault, rule in known[step.policy].items():
            is_possible = fault in can_raise
            key = (step.policy, fault)
            self._raised[key] = self._raised.get(key, False) or is_possible
            if is_possible:
                rules.append(self._rule(node, fault, rule, taken))
        return tuple(rules)

    def check_use(self, *, is_span_known: bool) -> None:
        """Tell of rules for faults that no step under their policy can raise."""
        for (policy, fault), is_possible in self._raised.items():
            if is_possible or fault not in self._given.cell.faults:
                continue
            if fault in SPAN_FAULTS and not is_span_known:
                continue
            what = f"policy {policy!r} has a rule for {fault!r}"
            trail = ("policies", policy, fault)
            self._given.tell(trail, "SEQ040", what, key=True)

    def _rule(self, node: int, fault: str, rule: RuleModel, taken: Taken) -> Rule:
        step = self._items[node].step
        policy = step.policy if isinstance(step, DoStep) and step.policy else ""
        trail: Trail = ("policies", policy, fault)
        then, prompt = Exhausted.ASK, -1
        if isinstance(rule.then, AskModel):
            prompt = self._prompts.get(rule.then.ask, -1)
        else:
            then = Exhausted(rule.then)
        return Rule(
            fault=fault,
            attempts=rule.attempts,
            recover=self._recover(rule, trail, taken),
            again_from=self._again_from(node, rule, trail),
            then=then,
            prompt=prompt,
        )

    def _recover(self, rule: RuleModel, trail: Trail, taken: Taken) -> tuple[Move, ...]:
        moves = []
        for number, model in enumerate(rule.recover):
            here = (*trail, "recover", number)
            action = self._moves.action(model.do, (*here, "do"))
            if action is not None:
                given = self._moves.values(model, action, self._scope, here, taken(model.do))
                moves.append(self._moves.move(model.do, action, given))
        return tuple(moves)

    def _again_from(self, node: int, rule: RuleModel, rule_trail: Trail) -> int:
        """Return the node that `again_from` names, or -1 (also after telling)."""
        item = self._items[node]
        name = rule.again_from
        if name is None:
            return -1
        found = self._ids.get((item.place.group, name))
        if found is None:
            known = known_ids(self._ids, item.place.group)
            line, _ = self._given.document.place((*item.trail, "policy"))
            here, of = (*rule_trail, "again_from"), f"ids of the list of the step of line {line}"
            self._given.knows(here, "SEQ032", "again_from", name, known, of=of)
            return -1
        between = self._items[found : node + 1]
        if found > node or any(isinstance(one.step, BarrierStep) for one in between):
            line, _ = self._given.document.place(self._items[found].trail)
            what = f"policy goes back to id {name!r} of line {line}"
            self._given.tell((*item.trail, "policy"), "SEQ045", what)
            return -1
        return found
