"""Looking back over a run that still goes on."""

from typing import Any

from coordinator.page.history import History


def moment(at_s: float, phase: str = "running", **more: Any) -> dict[str, Any]:
    """Return a snapshot with the little that the history reads."""
    return {"at_s": at_s, "phase": phase, "prompts": [], "alarms": [], **more}


def test_what_was_sent_last_before_a_time_is_shown_as_it_was_sent() -> None:
    """PG14: no second reading of what happened."""
    history = History()
    for at_s in (0.0, 1.0, 2.0, 3.0):
        history.keep(moment(at_s, torque_nm=100 * at_s, words="pulls bolt 3 · 7"))

    assert history.at(2.7) == moment(2.0, torque_nm=200.0, words="pulls bolt 3 · 7")
    assert history.at(99.0) == moment(3.0, torque_nm=300.0, words="pulls bolt 3 · 7")
    assert history.at(0.0) == moment(0.0, torque_nm=0.0, words="pulls bolt 3 · 7")


def test_a_change_of_the_situation_is_kept_however_short_it_was() -> None:
    """A hold of half a second is what people look back for."""
    history = History()
    for at_s, phase in ((0.0, "running"), (0.2, "holding"), (0.4, "held"), (0.6, "held")):
        history.keep(moment(at_s, phase))

    assert [history.at(at_s) for at_s in (0.1, 0.3, 0.5, 0.7)] == [
        moment(0.0),
        moment(0.2, "holding"),
        moment(0.4, "held"),
        moment(0.4, "held"),
    ]


def test_before_anything_was_sent_there_is_nothing_to_look_back_to() -> None:
    """An empty history is no error."""
    assert History().at(5.0) is None
