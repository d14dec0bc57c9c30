"""Judge what a case says it was found with, before anything of it is believed or written.

Invariants: CA9, the files of a case are named by paths below one folder, so that whoever writes
them writes nowhere else.
"""

import re
from collections.abc import Collection
from pathlib import PurePosixPath

from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.tree import Document, Teller, Trail
from coordinator.sequence.models.case_model import FoundModel

PATH_MAX = 200
"""Chosen: below what any file system takes."""
CELLS = "cells"
"""Always a folder."""
_HASH = re.compile(r"[0-9a-f]{64}")


def lies_below(name: str) -> bool:
    """Tell whether a path, joined to a folder, names a file below that folder and is plain.

    Args:
        name: With slashes, as a case has it.
    """
    path = PurePosixPath(name)
    return (
        0 < len(name) <= PATH_MAX
        and name.isprintable()
        and not any(letter in name for letter in '\\:*?"<>|')
        and not path.is_absolute()
        and ".." not in path.parts
        and path.as_posix() == name != "."
    )


def check_found(
    model: FoundModel, document: Document, findings: Findings, promises: Collection[str] | None
) -> None:
    """Tell what is wrong with what a case was found with.

    Args:
        model: What the case says.
        document: The file of the case.
        findings: Gathers SEQ005, SEQ007, SEQ009, SEQ010 and SEQ013.
        promises: Codes of the promises there are; None leaves them unjudged.
    """
    judge = _Judge(document, findings)
    judge.check_paths(model)
    judge.check_hashes(model)
    if promises is not None:
        judge.check_promises(model, promises)


class _Judge(Teller):
    def check_paths(self, model: FoundModel) -> None:
        """Tell of paths that lead out of the folder, and of a sequence that is not there."""
        must = "must be a path below the folder of the sequences, with / and without .."
        if not lies_below(model.sequence):
            what, do = f"sequence is {model.sequence!r}", "name it as the files below are named"
            self.tell(("found", "sequence"), "SEQ005", what, must, do)
        elif model.files and model.sequence not in model.files:
            here, of = ("found", "sequence"), "files of the case"
            self.knows(here, "SEQ013", "sequence", model.sequence, model.files, of=of)
        for name in model.files:
            trail: Trail = ("found", "files", name)
            if not lies_below(name):
                do = "do not run this case unless you know who wrote it; else correct the path"
                self.tell(trail, "SEQ005", f"file is {name!r}", must, do, key=True)
            elif name == CELLS or any(_is_in(other, name) for other in model.files):
                what, do = f"file {name!r} is a folder as well", "name one of the two otherwise"
                self.tell(trail, "SEQ010", what, "must be one of the two", do, key=True)

    def check_hashes(self, model: FoundModel) -> None:
        """Tell of a hash that is none, and of an end without the trace that led to it."""
        for name in ("digest", "program", "trace"):
            value = getattr(model, name)
            if value and not _HASH.fullmatch(value):
                must, do = "must be 64 digits 0 to 9 and a to f", "copy it from where it was found"
                self.tell(("found", name), "SEQ009", f"{name} is {value!r}", must, do)
        if model.ended and not model.trace:
            what, must = "found gives 'ended' without 'trace'", "must say what trace led there"
            self.tell(("found",), "SEQ007", what, must, "add 'trace:', or leave 'ended:' out")

    def check_promises(self, model: FoundModel, promises: Collection[str]) -> None:
        """Tell of promises that there are not."""
        for place, signature in enumerate(model.broken):
            code = signature.split(" ", maxsplit=1)[0]
            here = ("found", "broken", place)
            self.knows(here, "SEQ013", "promise", code, promises, of="promises")


def _is_in(other: str, folder: str) -> bool:
    return other != folder and PurePosixPath(other).is_relative_to(folder)
