"""Read a case: which causes are set in the simulated world, and what people answer and do.

A case sets causes, never outcomes. The catalogue of causes is handed in, because the world that
knows them is none of this package's business.

A parameter has the dimension that the catalogue gives it.

Units: ``*_us`` microseconds; parameters SI floats.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from coordinator.core.events import Act as ActName
from coordinator.core.plan import Option
from coordinator.sequence.cases.found import check_found
from coordinator.sequence.form.diagnostics import Findings, SequenceError
from coordinator.sequence.form.quantities import Dimension, QuantityError, parse_quantity
from coordinator.sequence.form.source import read_document
from coordinator.sequence.form.tree import Document, Teller, Trail
from coordinator.sequence.models.case_model import AnswersModel, CaseModel, CauseModel, FoundModel
from coordinator.sequence.models.validate import validate
from coordinator.sequence.read import root_of

Catalogue = Mapping[str, Mapping[str, str]]
"""Dimension word of each parameter of each cause.

A word is one of `Dimension`, or `number` (no unit), or `ratio` (a number, or `30 %`).
"""


@dataclass(frozen=True, slots=True)
class CaseCause:
    """One cause; where a field is None it acts everywhere, from the start, or for ever."""

    cause: str
    side: str | None = None
    bolt: int | None = None
    at_us: int | None = None
    for_us: int | None = None
    times: int | None = None
    parameters: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person answers when a prompt is asked."""

    prompt: str
    answer: Option
    by: str
    after_us: int = 0
    """How long after it was asked."""
    torque_nm: float | None = None
    """Check torque of what was done by hand."""


@dataclass(frozen=True, slots=True)
class Act:
    """What an operator does: at a time, or when the procedure gets into a state."""

    act: ActName
    by: str
    when: str | None = None
    at_us: int | None = None
    after_us: int = 0
    """How long after `when`."""


@dataclass(frozen=True, slots=True)
class StepWord:
    """A person's word for the next step, given whenever the run waits for one."""

    by: str
    after_us: int = 0
    """How long after the run began to wait."""
    times: int | None = None
    """How many words; None for one at every wait."""


@dataclass(frozen=True, slots=True)
class People:
    """What people answer and do in one run, and which steps they allow."""

    answers: tuple[Answer, ...] = ()
    acts: tuple[Act, ...] = ()
    steps: tuple[StepWord, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """What a campaign found with a case, and everything that is needed to find it again."""

    sequence: str
    files: tuple[tuple[str, str], ...] = ()
    """(path below the sequences folder, whole text) of every file."""
    digest: str = ""
    program: str = ""
    stretch: float = 1.0
    is_whole: bool = False
    ended: str = ""
    broken: tuple[str, ...] = ()
    index: int = 0
    at_us: int = 0
    trace: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """A replayable case."""

    case: str
    text: str = ""
    seed: int = 0
    causes: tuple[CaseCause, ...] = ()
    answers: tuple[Answer, ...] = ()
    acts: tuple[Act, ...] = ()
    digest: str = ""
    """SHA-256 of the file."""
    found: Found | None = None
    steps: tuple[StepWord, ...] = ()


def read_case(
    path: Path | str,
    catalogue: Catalogue,
    *,
    sides: tuple[str, ...] | None = None,
    bolt_count: int | None = None,
    placed: Collection[str] = (),
    promises: Collection[str] | None = None,
) -> Case:
    """Read and judge a case file.

    Args:
        path: The file.
        catalogue: The causes that there are.
        sides: Parties that a cause may be set on; None leaves them unjudged.
        bolt_count: Bolts of the joint; None leaves bolt numbers unjudged.
        placed: Causes that act on one party and must say on which.
        promises: Codes of the promises that a case can have been found with; None leaves them
            unjudged.

    Raises:
        SequenceError: With every finding.
    """
    findings = Findings()
    document = read_document(Path(path), root_of(Path(path)), findings)
    model = None if document is None else validate(CaseModel, document, findings)
    if document is None or model is None:
        raise SequenceError(findings.all())
    reader = _CauseReader(document, findings, catalogue)
    causes = tuple(reader.cause(place, one) for place, one in enumerate(model.causes))
    for place, one in enumerate(model.causes):
        reader.check_place(place, one, sides, bolt_count)
        if one.cause in placed and one.side is None:
            reader.tell_unplaced(place, one)
    people = _people(model, document, findings)
    if model.found is not None:
        check_found(model.found, document, findings, promises)
    findings.raise_if_any()
    return Case(
        model.case,
        model.text,
        model.seed,
        causes,
        people.answers,
        people.acts,
        document.digest,
        None if model.found is None else _found(model.found),
        people.steps,
    )


def read_answers(path: Path | str) -> People:
    """Read a file that holds only what people answer, do and allow.

    Raises:
        SequenceError: With every finding.
    """
    findings = Findings()
    document = read_document(Path(path), root_of(Path(path)), findings)
    model = None if document is None else validate(AnswersModel, document, findings)
    if document is None or model is None:
        raise SequenceError(findings.all())
    people = _people(model, document, findings)
    findings.raise_if_any()
    return people


def _found(model: FoundModel) -> Found:
    same = model.model_dump(exclude={"files", "at"})
    return Found(**same, files=tuple(model.files.items()), at_us=model.at)


def _people(model: AnswersModel, document: Document, findings: Findings) -> People:
    for place, act in enumerate(model.acts):
        trail: Trail = ("acts", place)
        if (act.when is None) == (act.at is None):
            what = (
                f"act {act.act!r} gives {'neither' if act.at is None else 'both'} 'when' and 'at'"
            )
            must, do = "must give one of them", "say when it is done"
            findings.add(document.finding(trail, "SEQ007", what, must, do))
        elif act.after is not None and act.when is None:
            what, must = f"act {act.act!r} gives 'after' without 'when'", "must belong to a 'when'"
            do = "add the two times into 'at'"
            findings.add(document.finding((*trail, "after"), "SEQ007", what, must, do, key=True))
    answers = tuple(
        Answer(one.prompt, one.answer, one.by, one.after or 0, one.torque) for one in model.answers
    )
    acts = tuple(
        Act(ActName(one.act), one.by, one.when, one.at, one.after or 0) for one in model.acts
    )
    steps = tuple(StepWord(one.by, one.after or 0, one.times) for one in model.steps)
    return People(answers, acts, steps)


@dataclass(frozen=True, slots=True)
class _CauseReader(Teller):
    """Reads causes against the catalogue."""

    catalogue: Catalogue

    def cause(self, place: int, model: CauseModel) -> CaseCause:
        """Return one cause; what is wrong with it is told."""
        trail: Trail = ("causes", place)
        here, of = (*trail, "cause"), "causes of the catalogue"
        if not self.knows(here, "SEQ055", "cause", model.cause, self.catalogue, of=of):
            return CaseCause(model.cause)
        known, of = self.catalogue[model.cause], f"parameters of {model.cause!r}"
        parameters = []
        for name, written in (model.model_extra or {}).items():
            here = (*trail, name)
            if not self.knows(here, "SEQ015", "parameter", name, known, of=of, key=True):
                continue
            try:
                parameters.append((name, _number(written, known[name])))
            except QuantityError as error:
                self.tell(here, error.code, error.what, error.must, error.do)
        return CaseCause(
            model.cause,
            model.side,
            model.bolt,
            model.at,
            model.for_,
            model.times,
            tuple(sorted(parameters)),
        )

    def check_place(
        self, place: int, model: CauseModel, sides: tuple[str, ...] | None, bolts: int | None
    ) -> None:
        """Tell of a side or a bolt that there is none of."""
        if sides is not None and model.side is not None:
            here, of = ("causes", place, "side"), "parties of the cell"
            self.knows(here, "SEQ056", "side", model.side, sides, of=of)
        if bolts is not None and model.bolt is not None and model.bolt > bolts:
            what, must = f"bolt is {model.bolt}", f"must be a bolt of the joint, 1 to {bolts}"
            self.tell(("causes", place, "bolt"), "SEQ017", what, must, "correct the number")

    def tell_unplaced(self, place: int, model: CauseModel) -> None:
        """Tell of a cause that does not say on which party it acts."""
        what, must = f"cause {model.cause!r} gives no 'side'", "must say on which party it acts"
        self.tell(("causes", place, "cause"), "SEQ007", what, must, "add 'side:'")


def _number(written: object, word: str) -> float:
    """Return a parameter in SI, by the dimension word of the catalogue."""
    is_number = isinstance(written, int | float) and not isinstance(written, bool)
    if word in ("number", "ratio") and is_number:
        return float(str(written))
    if word == "ratio":
        return parse_quantity(written, Dimension.SHARE)
    if word == "number":
        must, do = "must be a number without unit", "write the number alone"
        raise QuantityError("SEQ008", f"value is {written!r}", must, do)
    return parse_quantity(written, Dimension(word))
