"""The author's guide: what it shows loads, and it names every key and reference."""

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import load, read_case
from coordinator.sequence.compiler.references import joint_group, pair_group, round_group
from coordinator.sequence.models.case_model import (
    ActModel,
    AnswerModel,
    CaseModel,
    CauseModel,
    FoundModel,
    StepModel,
)
from coordinator.sequence.models.cell_model import (
    ActionModel,
    CellModel,
    FaultModel,
    InterlockModel,
    ParameterKind,
    SideModel,
    SignalModel,
    TimingModel,
    ToolModel,
)
from coordinator.sequence.models.fields import Strict
from coordinator.sequence.models.gateway_model import (
    GatewayModel,
    GatewaySignalModel,
    GatewaySourceModel,
)
from coordinator.sequence.models.joint_model import (
    BoltsModel,
    FlangeModel,
    JointModel,
    LooseningModel,
    ScatterModel,
    TighteningModel,
)
from coordinator.sequence.models.property_model import (
    AlwaysBeforeModel,
    AtMostModel,
    BeginsModel,
    CountModel,
    EndsModel,
    InZoneModel,
    NeverModel,
    OrderModel,
    SignalIsModel,
    UnderWayModel,
)
from coordinator.sequence.models.sequence_model import (
    AskModel,
    BarrierModel,
    BarrierStep,
    BlockModel,
    DerivedModel,
    DoStep,
    EachStep,
    ExceptionModel,
    MoveModel,
    PointModel,
    PointStep,
    PromptModel,
    RuleModel,
    SequenceModel,
    UseStep,
)
from tests.support.house import ROOT
from tests.support.sequence_files import SEQUENCES, codes_of

GUIDE = (SEQUENCES / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\S*) ?(.*)\n((?:.*\n)*?)```$", GUIDE, re.MULTILINE)
SECTIONS: dict[str, tuple[type[Strict], ...]] = {
    "Keys of a sequence": (
        *(SequenceModel, DerivedModel, BarrierModel, PointModel, PromptModel, RuleModel),
        *(
            AskModel,
            MoveModel,
            ExceptionModel,
            BlockModel,
            DoStep,
            UseStep,
            EachStep,
            BarrierStep,
            PointStep,
        ),
        *(NeverModel, AlwaysBeforeModel, AtMostModel, OrderModel, CountModel),
        *(BeginsModel, EndsModel, UnderWayModel, SignalIsModel, InZoneModel),
    ),
    "Keys of a cell": (
        *(CellModel, TimingModel, SideModel, ToolModel, SignalModel, InterlockModel),
        *(FaultModel, ActionModel, GatewayModel, GatewaySourceModel, GatewaySignalModel),
    ),
    "Keys of a joint": (
        JointModel,
        BoltsModel,
        TighteningModel,
        ScatterModel,
        LooseningModel,
        FlangeModel,
    ),
    "Keys of a case": (CaseModel, CauseModel, FoundModel, AnswerModel, ActModel, StepModel),
}


REFUSED = {5: ["SEQ069"]}
"""Stages of the tutorial that the guide says are refused, by their number from 0."""


def _sections(text: str) -> dict[str, str]:
    """Return the sections of a file, each with its name, in order."""
    parts = re.split(r"^(?=[a-z_]+:)", text, flags=re.MULTILINE)
    return {part.partition(":")[0]: part for part in parts if part}


def _stages() -> list[dict[str, dict[str, str]]]:
    """Return the files of the tutorial after each step, as a reader has them then."""
    files: dict[str, dict[str, str]] = {}
    stages = []
    for at, (_, mark, text) in enumerate(BLOCKS):
        verb, _, name = mark.partition("=")
        name, _, section = name.partition(":")
        if verb == "file":
            files[name] = _sections(text)
        elif verb == "more":
            files[name] = files[name] | _sections(text)
        elif verb == "into":
            files[name] = files[name] | {section: files[name][section] + text}
        following = BLOCKS[at + 1][1] if at + 1 < len(BLOCKS) else ""
        if verb in ("file", "more", "into") and not following.startswith("into="):
            stages.append({one: dict(parts) for one, parts in files.items()})
    return stages


def _write(folder: Path, files: dict[str, dict[str, str]]) -> None:
    for name, parts in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text("\n".join(parts.values()), encoding="utf-8")


@pytest.fixture(scope="module")
def quay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The cell that the guide starts, by the guide's own command."""
    (command,) = [text for language, mark, text in BLOCKS if (language, mark) == ("sh", "new")]
    folder = tmp_path_factory.mktemp("guide")
    words = shlex.split(command.replace("\\\n", " "))[1:]
    subprocess.run(
        [sys.executable, "-m", "coordinator.cli.app", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=True,
        capture_output=True,
        stdin=subprocess.DEVNULL,
    )
    return folder / "quay"


def test_every_block_of_the_guide_says_which_file_it_belongs_to() -> None:
    """A reader copies what stands there; a fragment must say that it is one."""
    known = r"(file|more)=[a-z_/]+\.yaml|into=[a-z_]+\.yaml:[a-z]+"
    for language, mark, _ in BLOCKS:
        if language == "yaml":
            assert mark == "fragment" or re.fullmatch(known, mark), mark
        else:
            assert (language, mark) in (("sh", "new"), ("sh", ""))
    assert len(_stages()) >= 10


def test_the_tutorial_begins_with_three_lines() -> None:
    """Whoever cannot begin small does not begin."""
    assert len(_stages()[0]["make.yaml"]["lanes"].strip().splitlines()) == 3


def test_each_step_of_the_tutorial_keeps_the_rules_or_breaks_the_one_it_names(quay: Path) -> None:
    """A reader checks after every step, as the guide tells him to."""
    told: dict[int, Sequence[str]] = {}
    for number, files in enumerate(_stages()):
        _write(quay, files)
        codes = codes_of(quay / "make.yaml")
        told |= {number: codes} if codes else {}

    assert told == REFUSED


def test_each_step_of_the_tutorial_rehearses_to_its_end(quay: Path) -> None:
    """The last one is the whole make-up, with every bolt pulled in each round and checked."""
    ended = []
    for number, files in enumerate(_stages()):
        if number in REFUSED:
            continue
        _write(quay, files)
        result = rehearse(load(quay / "make.yaml"))
        ended.append((result.phase, len(result.proofs)))

    assert {phase for phase, _ in ended} == {"complete"}
    assert [count for _, count in ended[:3]] == [0, 0, 8]
    assert ended[-1][1] == 8 + 3 * 8 + 8


def test_the_case_of_the_tutorial_holds_without_a_policy_and_is_recovered_with_it(
    quay: Path,
) -> None:
    """The guide says so, and it is why an author writes policies."""
    ended = []
    for files in _stages()[3:5]:
        _write(quay, files)
        loaded = load(quay / "make.yaml")
        case = read_case(quay / "cases" / "misplaced.yaml", BOLT_CATALOGUE)
        ended.append(rehearse(loaded, seed=case.seed, case=case).phase)

    assert ended == ["held", "complete"]


def test_the_other_files_of_the_guide_load(quay: Path) -> None:
    """A file based on the tutorial's is the same plan; the sample case fits it."""
    _write(quay, _stages()[-1])
    loaded = load(quay / "make.yaml")
    case = read_case(
        quay / "cases" / "burr.yaml",
        BOLT_CATALOGUE,
        sides=tuple(loaded.cell.sides),
        bolt_count=loaded.joint.bolt_count,
    )

    assert load(quay / "make_again.yaml").plan.nodes == loaded.plan.nodes
    assert case.case == "burr"


@pytest.mark.parametrize("section", SECTIONS)
def test_the_tables_of_the_guide_name_exactly_the_keys_there_are(section: str) -> None:
    """One list for authors, another for the machine: they must be equal."""
    text = GUIDE.split(f"## {section}\n", 1)[1].split("\n## ", 1)[0]
    columns = [line.split("|")[2] for line in text.splitlines() if line.startswith("|")]
    told = {name for column in columns for name in re.findall(r"`([^`]+)`", column)}
    models = SECTIONS[section]
    keys = {field.alias or name for model in models for name, field in model.model_fields.items()}

    assert told == keys


def test_the_guide_names_exactly_the_references_there_are() -> None:
    """An author learns of `$pair.other_neighbour` nowhere else."""
    loaded = load(SEQUENCES / "makeup_8.yaml")
    known = {
        "joint": joint_group(loaded.joint),
        "pair": pair_group(1, 1, 8),
        "round": round_group(loaded.joint.rounds[0]),
    }
    told = {*re.findall(r"`\$(\w+)\.(\w+)`", GUIDE.split("## Keys of a sequence", 1)[0])}

    assert told == {(name, field) for name, group in known.items() for field in group}


def test_the_guide_names_every_kind_of_parameter() -> None:
    """The kinds are a closed set in code."""
    for kind in ParameterKind:
        assert f"`{kind.value}`" in GUIDE
