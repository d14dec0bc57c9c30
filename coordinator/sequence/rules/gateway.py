"""Judge the gateway of a cell: every signal comes from somewhere, and nothing old passes for new.

Invariants: SQ21, every signal of a gateway has a source, and every source tells of its age.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.tree import Document, Teller, Trail
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.gateway_model import (
    MODBUS_PLACE_MAX,
    SPEAKS,
    GatewayModel,
    GatewaySignalModel,
    GatewaySourceModel,
    is_node,
    modbus_place,
)

_LIKE = {"opc.tcp": "a node such as ns=2;s=Floor.Clear", "modbus.tcp": "a place such as input 3"}
_FOR_OPC_UA = ("stamp_max", "user", "encrypted")


def check_gateway(cell: CellModel, document: Document, findings: Findings) -> None:
    """Tell of everything in the gateway of a cell that leads nowhere or contradicts itself."""
    if cell.gateway is not None:
        _Judge(document, findings, cell, cell.gateway).judge()


@dataclass(frozen=True, slots=True)
class _Judge(Teller):
    cell: CellModel
    gateway: GatewayModel

    def judge(self) -> None:
        """Tell of every deviation."""
        for name, source in self.gateway.sources.items():
            self._source(name, source)
        for name, signal in self.gateway.signals.items():
            self._signal(name, signal)
        for name in self.cell.signals:
            if name not in self.gateway.signals:
                what = f"signal {name!r} comes from nowhere"
                self.tell(("gateway", "signals"), "SEQ074", what, key=True)

    def _source(self, name: str, source: GatewaySourceModel) -> None:
        trail: Trail = ("gateway", "sources", name)
        if source.alive is not None:
            self._place(source, source.alive, (*trail, "alive"))
        elif source.stamp_max is None:
            what = f"source {name!r} may give the values of a program that has stopped"
            must = "must name a value that its program keeps changing"
            do = "count in a register or node of the controller and name it under 'alive'"
            if not source.is_modbus:
                do += ", or bound the age of its time stamps with 'stamp_max'"
            self.tell(trail, "SEQ078", what, must, do, key=True)
        for key in _FOR_OPC_UA:
            if source.is_modbus and getattr(source, key):
                what, must = f"{key} is given for Modbus TCP, which has none", "must be left out"
                self.tell((*trail, key), "SEQ077", what, must, "take it out", key=True)
        if source.alive is not None and source.alive_max < source.every:
            what, must = "alive_max is below every", "must leave time to see a change"
            do = "read more often or allow more"
            self.tell((*trail, "alive_max"), "SEQ009", what, must, do)
        if not any(one.source == name for one in self.gateway.signals.values()):
            what, must = f"{name!r} of sources is used nowhere", "must be used"
            self.tell(trail, "SEQ044", what, must, "use it or take it out", key=True)

    def _signal(self, name: str, signal: GatewaySignalModel) -> None:
        trail: Trail = ("gateway", "signals", name)
        declared = self.cell.signals.get(name)
        known, of = self.cell.signals, "signals of the cell"
        self.knows(trail, "SEQ028", "signal", name, known, of=of, key=True)
        sources, here = self.gateway.sources, (*trail, "source")
        of = "sources of the gateway"
        if not self.knows(here, "SEQ075", "source", signal.source, sources, of=of):
            return
        source = sources[signal.source]
        if declared is not None:
            self._age(source, name, declared.max_age, (*trail, "source"))
        self._place(source, signal.at, (*trail, "at"))
        self._meaning(source, signal, trail)

    def _age(self, source: GatewaySourceModel, name: str, max_age_us: int, trail: Trail) -> None:
        """Tell of a source that may take longer to be missed than its signal may be old."""
        ages = {"every and timeout together": source.every + source.timeout}
        if source.alive is not None:
            ages["alive_max"] = source.alive_max
        if source.stamp_max is not None:
            ages["stamp_max"] = source.stamp_max
        for words, age_us in ages.items():
            if age_us > max_age_us:
                what = f"{words} of its source allow {age_us / 1e6:g} s"
                must = f"must be at most the {max_age_us / 1e6:g} s that {name!r} may be old"
                self.tell(trail, "SEQ009", what, must, "allow the source less")

    def _place(self, source: GatewaySourceModel, text: str, trail: Trail) -> None:
        good = modbus_place(text) is not None if source.is_modbus else is_node(text)
        if not good:
            what = f"place is {text!r}, read from {SPEAKS[source.scheme]}"
            must = f"must be {_LIKE[source.scheme]}"
            self.tell(trail, "SEQ076", what, must, "write it as the controller's list has it")

    def _meaning(self, source: GatewaySourceModel, one: GatewaySignalModel, trail: Trail) -> None:
        """Tell of a reading that can mean two things, or never be true."""
        for what, must, do in _contradictions(source, one):
            self.tell(trail, "SEQ077", what, must, do, key=True)


def _contradictions(
    source: GatewaySourceModel, one: GatewaySignalModel
) -> Iterator[tuple[str, str, str]]:
    """Yield what of a reading cannot be meant, what it must be, and what to do."""
    has_limits = one.at_least is not None or one.at_most is not None
    if has_limits and (one.bit is not None or one.inverted):
        yield "it is judged by limits and as a bit", "must be judged one way", "keep one of them"
    if one.at_least is not None and one.at_most is not None and one.at_least > one.at_most:
        must = "must leave something between"
        yield "at_least is above at_most", must, "correct the limits"
    is_plain = one.number == "uint16" and not one.low_word_first
    if not source.is_modbus:
        if not is_plain:
            what = "number or low_word_first is given for OPC UA, which tells what a value is"
            yield what, "must be left out", "take them out"
        return
    place = modbus_place(one.at)
    if place is not None and place.is_bit:
        if has_limits or one.bit is not None or not is_plain:
            what = f"{one.at!r} is a single bit"
            yield what, "must have no bit, number or limits", "take them out"
        return
    yield from _of_registers(one, has_limits=has_limits)
    if place is not None and place.number + one.width - 1 > MODBUS_PLACE_MAX:
        what, must = f"{one.at!r} begins two registers", "must have one after it"
        yield what, must, "correct the place"


def _of_registers(one: GatewaySignalModel, *, has_limits: bool) -> Iterator[tuple[str, str, str]]:
    bits = 16 * one.width
    if one.low_word_first and one.width == 1:
        what, must = "low_word_first is given for one register", "must be left out"
        yield what, must, "take it out, or say which number of 32 bits it is"
    if one.number == "float32" and not has_limits:
        yield "a float32 is no yes or no", "must have at_least or at_most", "add one of them"
    elif one.bit is not None and one.bit >= bits:
        what, must = f"bit is {one.bit} of {bits} bits", f"must be 0 to {bits - 1}"
        yield what, must, "correct the bit"
