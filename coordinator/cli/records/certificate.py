"""The verb `records certificate`: gather what a run has left, and write it as PDF or HTML."""

from pathlib import Path

from coordinator.cli.output import Exit, Output
from coordinator.cli.records.record_verbs import open_store
from coordinator.operate.run_certificate import certificate_for, rendered
from coordinator.records.store import RecordsFailed

ENDINGS = (".pdf", ".html")


def write_certificate(output: Output, place: str, run: str, target: Path) -> Exit:
    """Write the certificate of a run into a file; its ending says the form."""
    if target.suffix not in ENDINGS:
        return output.refuse(f"{target}: ending must be one of {', '.join(ENDINGS)}; rename it")
    store = open_store(output, place)
    if store is None:
        return Exit.BAD_USE
    try:
        made = certificate_for(store, place, run)
        target.write_bytes(rendered(made, target.suffix))
    except RecordsFailed as error:
        return output.refuse(str(error))
    except OSError as error:
        return output.refuse(f"{target}: {error.strerror}; name another file")
    finally:
        store.close()
    output.say(f"{target}: {made.title}: {made.verdict}")
    output.document(ok=made.verdict == "accepted", file=str(target), verdict=made.verdict)
    return Exit.GOOD if made.verdict == "accepted" else Exit.FINDINGS
