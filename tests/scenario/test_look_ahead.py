"""What each answer leads to, foreseen on copies of the run; the run itself never notices."""

from pathlib import Path

from coordinator.operate.look_ahead_process import Asked, foresee
from coordinator.rehearse.look_ahead import Outlook
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import load, read_case
from tests.support.page_sequence import write_page_sequence
from tests.support.sequence_files import SEQUENCES

CASE = SEQUENCES / "cases" / "thread_stalls_for_good.yaml"
MAKEUP = SEQUENCES / "makeup_8.yaml"


def go(look_ahead: int, case: Path = CASE) -> tuple[Rehearsal, list[str]]:
    lines: list[str] = []
    result = rehearse(
        load(MAKEUP),
        case=read_case(case, BOLT_CATALOGUE),
        write_line=lines.append,
        look_ahead=look_ahead,
    )
    return result, lines


def by_option(outlooks: tuple[Outlook, ...]) -> dict[str, Outlook]:
    return {one.option: one for one in outlooks}


def test_looking_ahead_leaves_the_run_as_it_was() -> None:
    """LV12: byte for byte the same deliveries, although every answer was lived through."""
    with_it, lines = go(2)
    without, plain = go(0)

    assert lines == plain
    assert with_it.trace_sha256 == without.trace_sha256
    assert without.foreseen == []
    assert len(with_it.foreseen) == 2


def test_what_is_foreseen_of_an_answer_is_what_then_comes_of_it() -> None:
    """The hole stays misplaced: once more does not help, a person's hands do."""
    result, _ = go(2)
    (_, first, outlooks), _ = result.foreseen
    seen = by_option(outlooks)

    assert tuple(seen) == ("again", "back_off", "by_hand", "leave", "hold", "abort")
    assert (seen["again"].helps, seen["again"].ends) == (0, (("asks again", 2),))
    assert (seen["by_hand"].helps, seen["by_hand"].repeats) == (2, 2)
    assert seen["leave"].ends == (("aborted", 2),)
    assert seen["hold"].ends == (("held", 1),)
    assert "aft back off" in seen["again"].soon
    # The mate did answer `again`, and was asked again.
    later = [one for _, one in result.notices if one.kind == "prompt"]
    assert first.number == 1
    assert len(later) == 2


def test_a_run_elsewhere_is_foreseen_by_supposing_what_may_show_as_its_fault() -> None:
    """Of real arms the cause is not known: each that may show so is supposed."""
    asked = Asked(str(MAKEUP), None, 1, "pick bolt 3", "socket_not_seated", 1, None)

    found = foresee(asked)

    supposed = [one.supposing for one in found]
    assert supposed[:1] == ["hex_angle_wrong"]
    assert all(by_option(one.outlooks)["abort"].ends == (("aborted", 1),) for one in found)


def test_a_hold_point_is_foreseen_with_nothing_going_wrong(tmp_path: Path) -> None:
    """It is asked whatever happens: no cause need be supposed, and to release it helps."""
    asked = Asked(
        str(write_page_sequence(tmp_path)), None, 1, "bolts looked at", "hold_point", 1, None
    )

    (found,) = foresee(asked)

    assert found.supposing == "nothing going wrong"
    assert by_option(found.outlooks)["release"].helps == 1
    assert by_option(found.outlooks)["hold"].ends == (("held", 1),)
