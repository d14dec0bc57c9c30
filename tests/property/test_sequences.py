"""Sound sequences of every shape run to an end; spoilt ones are refused, or are sound as well."""

import tempfile
from dataclasses import replace
from pathlib import Path

from hypothesis import event, given, note
from hypothesis import strategies as st

from coordinator.core.plan import Option, Origin, Plan
from coordinator.rehearse.rehearsal import rehearse
from coordinator.sequence import Case, CaseCause, Loaded, People, SequenceError, load
from coordinator.sequence.cases.case import Answer
from sim_arms.causes import CATALOGUE
from tests.support.examples import examples
from tests.support.sequence_data import Files, write_files
from tests.support.sequence_mutations import mutations
from tests.support.sequence_strategies import cells_and_sequences

ENDED = ("complete", "held", "aborted", "idle")
CAUSES = [name for name, kind in CATALOGUE.items() if kind.applies_to in ("bolt", "side")]
"""What calls for the policies; floor, bus and processes have tests of their own."""


def bare(plan: Plan) -> Plan:
    """Return a plan without lines and digests, which any change of a file changes."""
    nodes = tuple(replace(node, origin=Origin()) for node in plan.nodes)
    return replace(plan, nodes=nodes, digest="")


def check_end(loaded: Loaded, cause: str | None = None, *, must_complete: bool = False) -> None:
    """See that a dry run comes to an end that its own rules allow, everybody accounted for."""
    case = None if cause is None else Case("drawn", causes=(CaseCause(cause),))
    released = [
        Answer(name, Option.RELEASE, "inspector") for name in loaded.sequence.points for _ in "12"
    ]
    result = rehearse(loaded, case=case, people=People(tuple(released)))

    event(f"ended {result.phase}")
    assert result.phase in (ENDED[:1] if must_complete else ENDED), (result.phase, result.reason)
    assert cause or result.phase != "idle", result.reason
    if result.phase == "complete":
        done = [proof.effect.node for proof in result.proofs if proof.effect.outcome == "finished"]
        wanted = [index for index, node in enumerate(loaded.plan.nodes) if node.record is not None]
        assert sorted(set(done)) == wanted
    else:
        assert result.reason


@examples(15)
@given(cells_and_sequences(), st.sampled_from([None, *CAUSES]))
def test_a_sound_sequence_loads_compiles_and_runs_to_an_end(
    files: Files, cause: str | None
) -> None:
    """Whatever the rules let pass must run: nothing is found out only on the steel."""
    note(f"{files}\ncause {cause}")
    with tempfile.TemporaryDirectory() as folder:
        loaded = load(write_files(Path(folder), files))
        whole = load(write_files(Path(folder), replace(files, derived=None)))

    assert bare(loaded.plan) == replace(bare(whole.plan), name=loaded.plan.name)
    check_end(loaded, cause, must_complete=cause is None)


@examples(80)
@given(cells_and_sequences(), st.data())
def test_a_spoilt_sequence_is_refused_or_is_sound_as_well(
    files: Files, data: st.DataObject
) -> None:
    """Refused with a place inside a file, or equal to what it was, or another one that runs."""
    mutation = data.draw(mutations(files))
    note(f"{mutation.files}\n{mutation.done}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sound = load(write_files(folder, files))
        path = write_files(folder, mutation.files)
        try:
            loaded = load(path)
        except SequenceError as error:
            event("refused")
            check_places(error, folder)
            return

    assert not mutation.must_be_refused, mutation.done
    if bare(loaded.plan) == bare(sound.plan):
        event("equal")
        return
    event("another plan")
    check_end(loaded)


def check_places(error: SequenceError, folder: Path) -> None:
    """See that every finding stands inside a file below the folder."""
    assert error.diagnostics
    for one in error.diagnostics:
        path = Path(one.file)
        assert path.is_relative_to(folder)
        if not path.is_file():
            assert one.code == "SEQ001"
            continue
        lines = path.read_text(encoding="utf-8").splitlines()
        assert 1 <= one.line <= len(lines), str(one)
        assert 1 <= one.column <= len(lines[one.line - 1]) + 1, str(one)
