"""The verb `faults`: print the failure-mode table of a sequence."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

from rich.progress import track
from rich.table import Table

from coordinator.cli.files import load_sequence
from coordinator.cli.output import Exit, Output
from coordinator.rehearse.catalogue import CATALOGUE
from coordinator.rehearse.fault_table import FaultRow, fault_modes, fault_row
from coordinator.sequence.form.diagnostics import choose_from


def tell_faults(
    output: Output, path: Path, *, seed: int, causes: Sequence[str], markdown: bool
) -> Exit:
    """Print the failure-mode table of a sequence."""
    unknown = [name for name in causes if name not in CATALOGUE]
    if unknown:
        must, do = choose_from(unknown[0], CATALOGUE, "causes of the catalogue")
        return output.refuse(f"--cause is '{unknown[0]}', {must}; {do}")
    loaded = load_sequence(output, path, None)
    modes = fault_modes(loaded, seed, causes)
    shown = track(modes, "rehearsing", console=output.people, transient=True)
    rows = [fault_row(loaded, mode, seed) for mode in shown]
    if markdown:
        print("\n".join(_markdown(rows)))
    else:
        table = Table("cause", "step", "detected by", "response", "ends", "within")
        for row in rows:
            table.add_row(
                row.cause, row.step, row.detected_by, row.response, row.ends, f"{row.within_s} s"
            )
        output.people.print(table)
    output.document(
        ok=True, simulated=True, seed=seed, rows=[asdict(row) for row in rows], modes=len(modes)
    )
    return Exit.GOOD


def _markdown(rows: list[FaultRow]) -> Iterator[str]:
    yield "| cause | step | detected by | response | ends | within | test |"
    yield "|---|---|---|---|---|---|---|"
    for row in rows:
        cells = (row.cause, row.step, row.detected_by, row.response, row.ends)
        plain = (cell.replace("|", "/") for cell in cells)
        yield f"| {' | '.join(plain)} | {row.within_s} s | `{row.test}` |"
