"""Who may act on the page: what is kept of a pass phrase."""

from pathlib import Path

from coordinator.page.operators import Operator, read_operators, write_operator

PHRASE = "eight bolts, two arms"


def test_a_pass_phrase_is_known_again_and_stands_nowhere(tmp_path: Path) -> None:
    """PG10: whoever reads the file of operators can sign in as nobody."""
    path = tmp_path / "operators.json"
    write_operator(path, Operator.of("fitter", PHRASE))
    write_operator(path, Operator.of("mate", PHRASE))

    fitter, mate = read_operators(path).values()

    assert PHRASE not in path.read_text(encoding="utf-8")
    assert fitter.digest != mate.digest
    assert [one.knows(PHRASE) for one in (fitter, mate)] == [True, True]
    assert [fitter.knows(guess) for guess in ("", PHRASE + " ", fitter.digest)] == [False] * 3
