"""Have a second program judge a sequence: leave its Promela model, or ask SPIN at once."""

from pathlib import Path
from typing import Any

from coordinator.cli.output import Output
from coordinator.promela import SpinFailed, ask_spin, to_promela
from coordinator.promela.export import SHARED
from coordinator.promela.spin import STUCK
from coordinator.sequence import Loaded


def leave_model(output: Output, folder: Path, path: Path, loaded: Loaded, causes: int) -> bool:
    """Write the model of a sequence into a folder; False where that is not possible."""
    target = folder / f"{path.stem}.pml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        target.write_text(to_promela(loaded.plan, loaded.properties, causes), encoding="utf-8")
    except OSError as error:
        output.say(f"{target}: {error.strerror}; name another folder")
        return False
    output.say(f"{path}: model: {target}; spin -a, compile with -DNOREDUCE, run ./pan -a")
    return True


def hear_spin(
    output: Output, path: Path, loaded: Loaded, causes: int, proved: bool | None
) -> dict[str, Any]:
    """Ask SPIN about a sequence, say what it found, and return the same as data.

    Args:
        output: Where to say it.
        path: The sequence.
        loaded: The same, loaded.
        causes: Up to how many things may go wrong.
        proved: What our own proof found; None where there is none.
    """
    try:
        opinion = ask_spin(loaded.plan, loaded.properties, causes)
    except SpinFailed as error:
        output.say(str(error))
        return {"file": str(path), "proved": False, "complete": False, "failed": str(error)}
    seen = f"{opinion.states} states, {opinion.transitions} transitions"
    took_s = opinion.generate_s + opinion.compile_s + opinion.run_s
    if opinion.broken:
        output.say(f"{path}: SPIN: broken: {opinion.broken}; seen in {seen}")
    elif not opinion.is_complete:
        output.say(f"{path}: SPIN: not proved: cut by a bound; {seen}")
    else:
        said = "proved, with no proof of our own beside it" if proved is None else "proved as well"
        if proved is False:
            said = "proved"
        output.say(f"{path}: SPIN: {said}: {seen}, {took_s:.1f} s, {', '.join(SHARED)}, {STUCK}")
    if proved is not None and opinion.is_complete and opinion.is_proved is not proved:
        output.say(f"{path}: the two disagree; please keep the files and tell us")
    return {
        "file": str(path),
        "proved": opinion.is_proved,
        "complete": opinion.is_complete,
        "broken": opinion.broken,
        "states": opinion.states,
        "transitions": opinion.transitions,
    }
