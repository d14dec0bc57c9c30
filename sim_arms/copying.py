"""Copy a world that is running, so that what may happen from here can be tried many times over.

A generator cannot be copied; but an activity asks nothing but its bench, and its bench is told
everything by its shell. So the bench is copied as it was before the activity began, and what it
was told since is told to the copy again: the copy's activity then stands where this one stands.

Invariants: N5, a copy and its original, told the same, give the same deliveries.
"""

import types
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from enum import Enum
from random import Random
from typing import Any, TypeVar

from coordinator.wire.messages import Value
from sim_arms.activity import Activity, Done, Wait
from sim_arms.arm import SteelWorkbench
from sim_arms.causes import Cause
from sim_arms.facts import FactExchange
from sim_arms.floor import Floor
from sim_arms.party import Party, SimulatedParty
from sim_arms.physics.flange import FlangeModel
from sim_arms.physics.influence import InfluenceModel
from sim_arms.shell import Shell
from sim_arms.workbench import Workbench, stand_by
from sim_arms.world import Traced, World

_Copied = TypeVar("_Copied")
_PLAIN = (int, float, str, bytes, bool, type(None), type, types.FunctionType, Enum)
_SHARED: dict[type[Any], bool] = {}
_SLOTS: dict[type[Any], tuple[str, ...]] = {}
"""What was found out about types; types do not change."""
_FIXED = (
    *(types.BuiltinFunctionType, types.MappingProxyType, range, frozenset),
    *(FlangeModel, InfluenceModel),  # Reckoned once from what the steel is; they never change.
)


_STEP = "step"
"""Stands where a call of the bench would: its activity took a step, or an exception was thrown."""


class RewindableBench:
    """A workbench that remembers what it was told since its activity began."""

    def __init__(self, inner: SteelWorkbench) -> None:
        """Stand before `inner`, which nobody else may tell anything from now on."""
        self.inner = inner
        self.before: SteelWorkbench | None = None
        """As it was before the activity at hand began; None while there is none."""
        self.told: list[tuple[str, tuple[Any, ...]]] = []
        """Calls of the bench with their arguments, and steps of its activity."""
        self.activity: RewindableActivity | None = None
        self._is_last = False

    @property
    def tool(self) -> str:
        """The tool now mounted, empty for none."""
        return self.inner.tool

    def begin(self, action: str, parameters: Mapping[str, Value], on_hold: str) -> Activity:
        """Prepare an action; nothing moves before the first step of what is returned.

        Raises:
            Unfit: the action cannot be begun; nothing was changed.
        """
        before = None if self._is_last else Copier().copy(self.inner)
        steps = self.inner.begin(action, parameters, on_hold)
        self.before, self.told = before, [("begin", (action, parameters, on_hold))]
        self.activity = RewindableActivity(self, steps)
        return self.activity

    def tell_time(self, now_us: int) -> None:
        """Let the bench know the time before its activity takes a step."""
        self._note("tell_time", now_us)
        self.inner.tell_time(now_us)

    def take_changes(self) -> Mapping[str, Value]:
        """Return the facts about the steel changed since the last call."""
        self._note("take_changes")
        return self.inner.take_changes()

    def apply(self, facts: Mapping[str, Value]) -> None:
        """Take up facts that another party wrote."""
        self._note("apply", dict(facts))
        self.inner.apply(facts)

    def standing(self) -> Mapping[str, Value]:
        """Return how the party's own metal stands."""
        return self.inner.standing()

    def stand(self, standing: Mapping[str, Value]) -> None:
        """Stand as `standing` says, after a new start of the process."""
        self._note("stand", dict(standing))
        self.inner.stand(standing)

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Let causes act that were not known before."""
        self._note("add_causes", tuple(causes))
        self.inner.add_causes(causes)

    def limit_speed(self, share: float) -> None:
        """Move no faster than this share of full speed, from the next action on."""
        self._note("limit_speed", share)
        self.inner.limit_speed(share)

    def reseed(self, seed: int | str) -> None:
        """Draw what is yet to come by chance anew."""
        self._note("reseed", seed)
        self.inner.reseed(seed)

    def work_by_hand(self, kind: str, bolt: int, torque_nm: float) -> None:
        """Let people do to a bolt what a record of this kind proves."""
        self._note("work_by_hand", kind, bolt, torque_nm)
        self.inner.work_by_hand(kind, bolt, torque_nm)

    def wake(self) -> None:
        """Forget what only the memory of a process holds; the process has started anew."""
        self.rest()
        self.inner.wake()

    def remember_no_more(self) -> None:
        """Save what it costs to remember: no copy will be made of what begins from now on."""
        self._is_last = True

    def note_step(self, error: BaseException | None) -> None:
        """Remember that the activity took a step, or had an exception thrown into it."""
        self._note(_STEP, error)

    def rest(self) -> None:
        """Forget what was told: the activity is over."""
        self.before, self.told, self.activity = None, [], None

    def copy_into(self, copier: "Copier") -> "RewindableBench":
        """Return a copy that stands where this one stands, known to the copier part by part."""
        if self.before is None:
            copied = RewindableBench(copier.copy(self.inner))
            copier.know(self, copied)
            return copied
        inner = Copier().copy(self.before)
        copied = RewindableBench(inner)
        copied.before, copied.told = self.before, list(self.told)
        copied.activity = RewindableActivity(copied, _tell_again(inner, self.told))
        copier.know(self, copied)
        copier.know(self.activity, copied.activity)
        copier.know(self.inner, inner)
        copier.know(self.inner.bench, inner.bench)
        return copied

    def _note(self, call: str, *told: object) -> None:
        if self.before is not None:
            self.told.append((call, told))


class RewindableActivity(Generator[Wait, None, Done]):
    """An activity whose steps its bench remembers."""

    def __init__(self, bench: RewindableBench, steps: Activity) -> None:
        """Stand before `steps`."""
        self._bench = bench
        self._steps = steps

    def send(self, value: None, /) -> Wait:
        """Go on to the next wait."""
        self._bench.note_step(None)
        try:
            return next(self._steps)
        except BaseException:
            self._bench.rest()
            raise

    def throw(self, typ: Any, val: Any = None, tb: Any = None, /) -> Wait:
        """Ask the activity to come to rest."""
        # The exception carries what the activity writes on it; the copy gets one of its own.
        self._bench.note_step(type(typ)(*typ.args))
        try:
            return self._steps.throw(typ)
        except BaseException:
            self._bench.rest()
            raise

    def close(self) -> None:
        """End without coming to rest, as a process that dies."""
        self._steps.close()
        self._bench.rest()


def _tell_again(inner: SteelWorkbench, told: list[tuple[str, tuple[Any, ...]]]) -> Activity:
    """Tell a bench everything again, and return its activity."""
    _, begun = told[0]
    steps = inner.begin(*begun)
    for call, arguments in told[1:]:
        if call != _STEP:
            getattr(inner, call)(*arguments)
        elif arguments == (None,):
            next(steps)
        else:
            (error,) = arguments
            steps.throw(type(error)(*error.args))
    return steps


def make_copyable(party: SimulatedParty) -> None:
    """Let a party that has not begun anything be copied later on."""
    shell = party.hoist if isinstance(party, Floor) else party
    if not isinstance(shell, Shell) or not isinstance(shell.bench, SteelWorkbench):
        raise TypeError(f"'{party.name}' has no bench that can be copied")
    bench: Workbench = RewindableBench(shell.bench)
    shell.bench = bench
    shell._facts = FactExchange(bench)


def make_last(world: World) -> None:
    """Let a world go on for less: nobody will copy it any more."""
    for party in world.parties:
        shell = party.hoist if isinstance(party, Floor) else party
        if isinstance(shell, Shell) and isinstance(shell.bench, RewindableBench):
            shell.bench.remember_no_more()


def copy_world(
    world: World, coordinator: Party, traced: Traced | None, said: Traced | None = None
) -> World:
    """Return a world that goes on from where this one is.

    Args:
        world: Its parties were all made copyable before anything began.
        coordinator: A copy of its coordinator.
        traced: Told of every delivery in the copy.
        said: Told of every message as it is sent in the copy.
    """
    copier = Copier()
    copier.know(world.coordinator, coordinator)
    for party in world.parties:
        shell = party.hoist if isinstance(party, Floor) else party
        if isinstance(shell, Shell) and isinstance(shell.bench, RewindableBench):
            # First: what stands on a bench must find the parts of its copy, told anew.
            shell.bench.copy_into(copier)
    for told in (world._traced, world._said):
        if told is not None:
            copier.know(told, told)
    copied = copier.copy(world)
    copied._traced, copied._said = traced, said
    return copied


class Copier:
    """Copies what can change and shares what cannot; each thing once."""

    def __init__(self) -> None:
        """Know nothing as yet."""
        self._known: dict[int, Any] = {}
        self._kept: list[object] = []

    def know(self, original: object, copied: object) -> None:
        """Let `copied` stand for `original` wherever it comes up."""
        self._known[id(original)] = copied
        self._kept.append(original)  # An id is good only while its object lives.

    def copy(self, value: _Copied) -> _Copied:
        """Return a copy, or the thing itself if it cannot change."""
        # Most of what comes by is a plain value.
        kind = type(value)
        if _SHARED.get(kind) or is_shared(kind):
            return value
        if id(value) in self._known:
            return self._known[id(value)]  # type: ignore[no-any-return]  # kept beside its original
        how = _WAYS.get(kind)
        if how is None:
            how = _WAYS[kind] = _way_of(kind)
        copied: Any = how(self, value)
        return copied  # type: ignore[no-any-return]  # built with the type of its original


def _copy_tuple(copier: Copier, value: tuple[Any, ...]) -> tuple[Any, ...]:
    if is_plain(value):
        return value
    copied = tuple([copier.copy(one) for one in value])
    return copied if any(a is not b for a, b in zip(copied, value, strict=True)) else value


def _copy_list(copier: Copier, value: list[Any]) -> list[Any]:
    shared = _SHARED.get
    return [one if shared(type(one)) else copier.copy(one) for one in value]


def _copy_set(_: Copier, value: set[Any]) -> set[Any]:
    return set(value)


def _copy_dict(copier: Copier, value: dict[Any, Any]) -> dict[Any, Any]:
    shared = _SHARED.get
    return {key: one if shared(type(one)) else copier.copy(one) for key, one in value.items()}


def _copy_random(copier: Copier, value: Random) -> Random:
    # Its state follows: no chance need be drawn for it.
    random = Random.__new__(Random, 0)  # type: ignore[call-arg]  # a seed, as in C
    random.setstate(value.getstate())
    copier.know(value, random)
    return random


def _copy_method(copier: Copier, value: types.MethodType) -> types.MethodType:
    return types.MethodType(value.__func__, copier.copy(value.__self__))


def _copy_bench(copier: Copier, value: RewindableBench) -> RewindableBench:
    return value.copy_into(copier)


def _copy_generator(_: Copier, value: Generator[Any, Any, Any]) -> Generator[Any, Any, Any]:
    if isinstance(value, types.GeneratorType) and value.gi_code is stand_by.__code__:
        return stand_by()  # It has not begun: once begun it is over.
    raise TypeError("an activity is copied with its bench; make the party copyable first")


def _copy_object(copier: Copier, value: Any) -> Any:
    shared, kind = _SHARED.get, type(value)
    copied = object.__new__(kind)
    copier.know(value, copied)
    for name in _slots(kind):
        if (one := getattr(value, name, copier)) is not copier:
            # Most of what stands in a slot is a plain value: no call for it.
            object.__setattr__(copied, name, one if shared(type(one)) else copier.copy(one))
    if (contents := getattr(value, "__dict__", None)) is not None:
        copied.__dict__.update(_copy_dict(copier, contents))
    return copied


_Way = Callable[[Copier, Any], Any]
_WAYS: dict[type[Any], _Way] = {}
"""How things of each type are copied, as far as that has come up."""
_BASES: tuple[tuple[type[Any], _Way], ...] = (
    (tuple, _copy_tuple),
    (list, _copy_list),
    (set, _copy_set),
    (dict, _copy_dict),
    (Random, _copy_random),
    (types.MethodType, _copy_method),
    (RewindableBench, _copy_bench),
    (Generator, _copy_generator),
    (object, _copy_object),
)


def _way_of(kind: type[Any]) -> _Way:
    return next(way for base, way in _BASES if issubclass(kind, base))


def is_plain(values: Iterable[Any]) -> bool:
    """Tell whether nothing of this can change."""
    return all(map(is_shared, map(type, values)))


def is_shared(kind: type[Any]) -> bool:
    """Tell whether nothing of this type ever changes: plain values and frozen records."""
    known = _SHARED.get(kind)
    if known is None:
        known = _SHARED[kind] = _never_changes(kind)
    return known


def _never_changes(kind: type[Any]) -> bool:
    if issubclass(kind, (*_PLAIN, *_FIXED)):
        return True
    if issubclass(kind, tuple):
        return kind is not tuple
    parameters = getattr(kind, "__dataclass_params__", None)
    return parameters is not None and bool(parameters.frozen)


def _slots(kind: type[Any]) -> tuple[str, ...]:
    if kind not in _SLOTS:
        _SLOTS[kind] = tuple(_slots_of(kind))
    return _SLOTS[kind]


def _slots_of(kind: type[Any]) -> Iterator[str]:
    yield from (
        name
        for one in kind.__mro__
        for name in getattr(one, "__slots__", ())
        if name not in ("__dict__", "__weakref__")
    )
