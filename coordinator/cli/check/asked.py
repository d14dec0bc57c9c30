"""What a person asks of a check, and what of it cannot be done: told before anything is judged."""

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryFile
from typing import TYPE_CHECKING

from coordinator.cli.asked import CheckAsked

if TYPE_CHECKING:
    from coordinator.prove import Limits

CAUSES = 2
"""Up to how many things that go wrong a proof covers, where nothing else is asked."""
STATES_MAX = 20_000_000


def limits_of(asked: CheckAsked) -> "Limits":
    """Return what a proof may spend."""
    from coordinator.prove import Limits  # Whoever only wants the rules needs no proof.

    causes = CAUSES if asked.causes is None else asked.causes
    return Limits(causes, asked.states_max or STATES_MAX)


def refusals(asked: CheckAsked) -> Iterator[str]:
    """Yield everything that is asked and cannot be done."""
    if asked.quick:
        yield from _idle_when_quick(asked)
    why = None if asked.out is None else why_unwritable(asked.out)
    if why is not None:
        yield (
            f"--out {asked.out}: {why}, must be a folder that can be written to; "
            f"name another, nothing has been proved"
        )


def _idle_when_quick(asked: CheckAsked) -> Iterator[str]:
    """Yield what does nothing where no proof is made."""
    idle = (
        ("--out", asked.out is not None, "leaves what a proof found to be broken"),
        ("--states", asked.states_max is not None and not asked.leave_out, "bounds a proof"),
        ("--causes", asked.causes is not None and not asked.leave_out, "bounds a proof"),
    )
    for option, is_given, does in idle:
        if is_given:
            yield f"{option} {does}, and --quick makes none; leave one of the two out"


def why_unwritable(folder: Path) -> str | None:
    """Return why nothing can be written into a folder, None if it can; leaves nothing behind."""
    made = [one for one in (folder, *folder.parents) if not one.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with TemporaryFile(dir=folder):
            pass
    except FileExistsError:
        return "is a file"
    except NotADirectoryError:
        return "lies below a file"
    except OSError as error:
        return f"cannot be written to ({error.strerror})"
    finally:
        for one in made:
            if one.is_dir():
                one.rmdir()
    return None
