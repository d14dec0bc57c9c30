"""Places and texts of users are printed as they are written: no emoji, no markup."""

import pytest

from coordinator.cli.output import Output
from coordinator.operate.screen import Screen


def test_every_line_number_is_printed_as_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    """`own.yaml:100:13:` was printed with a picture, which breaks every editor's jump."""
    output = Output.of(is_json=False)
    places = [f"own.yaml:{line}:13: [bold]what[/bold] :warning: is" for line in range(1, 2001)]
    for one in places:
        output.say(one)

    assert capsys.readouterr().out.splitlines() == places


def test_errors_and_a_run_print_places_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    """On stderr, and on the screen of a run, whose region is drawn by a console of its own."""
    output = Output.of(is_json=False)
    output.refuse("own.yaml:100:13: [red]unknown[/red]")
    Screen(output.say, output.people).say("own.yaml:100:13: :smile:")

    told = capsys.readouterr()
    assert told.err.splitlines() == ["own.yaml:100:13: [red]unknown[/red]"]
    assert told.out.splitlines() == ["own.yaml:100:13: :smile:"]
