"""The author's guide: what it shows loads, and it names every key and reference."""

import re
from pathlib import Path

import pytest

from coordinator.sequence import load, read_case
from coordinator.sequence.case_model import ActModel, AnswerModel, CaseModel, CauseModel, FoundModel
from coordinator.sequence.cell_model import (
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
from coordinator.sequence.fields import Strict
from coordinator.sequence.joint_model import (
    BoltsModel,
    JointModel,
    LooseningModel,
    TighteningModel,
)
from coordinator.sequence.references import joint_group, pair_group, round_group
from coordinator.sequence.sequence_model import (
    BarrierModel,
    BarrierStep,
    BlockModel,
    DerivedModel,
    DoStep,
    EachStep,
    ExceptionModel,
    PointModel,
    PointStep,
    PromptModel,
    RuleModel,
    SequenceModel,
    UseStep,
)
from tests.support.sequence_files import SEQUENCES

GUIDE = (SEQUENCES / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\S*) ?(.*)\n((?:.*\n)*?)```$", GUIDE, re.MULTILINE)
SECTIONS: dict[str, tuple[type[Strict], ...]] = {
    "Keys of a sequence": (
        *(SequenceModel, DerivedModel, BarrierModel, PointModel, PromptModel, RuleModel),
        *(ExceptionModel, BlockModel, DoStep, UseStep, EachStep, BarrierStep, PointStep),
    ),
    "Keys of a cell": (
        *(CellModel, TimingModel, SideModel, ToolModel, SignalModel, InterlockModel),
        *(FaultModel, ActionModel),
    ),
    "Keys of a joint": (JointModel, BoltsModel, TighteningModel, LooseningModel),
    "Keys of a case": (CaseModel, CauseModel, FoundModel, AnswerModel, ActModel),
}


def test_every_block_of_the_guide_is_a_file_or_marked_as_a_fragment() -> None:
    """A reader copies what stands there; a fragment must say that it is one."""
    assert len(BLOCKS) >= 5
    for language, mark, _ in BLOCKS:
        assert language == "yaml"
        assert mark == "fragment" or re.fullmatch(r"file=[a-z_/]+\.yaml", mark)


def test_the_files_of_the_tutorial_load(tmp_path: Path) -> None:
    """The first thing that an author tries must work."""
    for _, mark, text in BLOCKS:
        if mark.startswith("file="):
            path = tmp_path / mark.removeprefix("file=")
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")

    loaded = load(tmp_path / "first.yaml")
    assert load(tmp_path / "first_again.yaml").plan.nodes == loaded.plan.nodes
    case = read_case(
        tmp_path / "cases" / "burr.yaml",
        {"burr": {"height": "length"}, "person_steps_in": {}},
        sides=tuple(loaded.cell.sides),
        bolt_count=loaded.joint.bolt_count,
    )

    assert [span.name for span in loaded.plan.spans] == [
        f"pull (round {number}, pair {pair})" for number in (1, 2) for pair in (1, 2)
    ]
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
