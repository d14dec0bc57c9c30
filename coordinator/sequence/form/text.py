"""Decide whether a path leads to text that can be read, and read no more of it than the bound.

Invariants: SQ2, nothing but a regular file is opened, so that no pipe or device keeps the reader
waiting.
"""

import re
import stat
from pathlib import Path

from coordinator.sequence.form.diagnostics import Diagnostic, Findings

FILE_BYTES_MAX = 1024 * 1024

_MARK = "\ufeff"
_UNSEEN = re.compile(
    "[\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]"
)
# Controls, characters without width, and the bidirectional controls of Unicode Standard Annex #9:
# text that holds them is read otherwise than it is shown.


def read_text(path: Path, findings: Findings) -> tuple[bytes, str] | None:
    """Return the bytes of a file and the text that they are, or None after telling why not."""
    display = str(path)
    raw = _read_bytes(path, display, findings)
    if raw is None:
        return None
    text = _decode(raw, display, findings)
    if text is None:
        return None
    told = len(findings)
    _check_characters(display, text, findings)
    return (raw, text) if len(findings) == told else None


def _read_bytes(path: Path, display: str, findings: Findings) -> bytes | None:
    place = (display, 1, 1)
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            what, must = "path leads to a folder, pipe or device", "must be a regular file"
            findings.add(Diagnostic(*place, what, must, "correct the path", "SEQ001"))
            return None
        with path.open("rb") as file:
            raw = file.read(FILE_BYTES_MAX + 1)
    except (OSError, ValueError) as error:
        # A path with a NUL in it is a ValueError.
        reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
        what, must = f"file cannot be opened ({reason})", "must be a readable file"
        findings.add(Diagnostic(*place, what, must, "correct the path", "SEQ001"))
        return None
    if len(raw) > FILE_BYTES_MAX:
        what, must = f"file has more than {FILE_BYTES_MAX} bytes", "must be at most 1 MiB"
        do = "use blocks and loops instead of copies"
        findings.add(Diagnostic(*place, what, must, do, "SEQ002"))
        return None
    return raw


def _decode(raw: bytes, display: str, findings: Findings) -> str | None:
    do = "save the file as UTF-8 without a byte order mark"
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line, column = _place_of(raw[: error.start].decode("utf-8", "replace"))
        what, must = f"byte is 0x{raw[error.start]:02x}", "must be part of UTF-8 text"
        findings.add(Diagnostic(display, line, column, what, must, do, "SEQ001"))
        return None
    if text.startswith(_MARK):
        what, must = "file starts with a byte order mark", "must start with its text"
        findings.add(Diagnostic(display, 1, 1, what, must, do, "SEQ001"))
        return None
    return text


def _check_characters(display: str, text: str, findings: Findings) -> None:
    """Tell of the first character of each line that cannot be seen."""
    told = 0
    for match in _UNSEEN.finditer(text):
        line, column = _place_of(text[: match.start()])
        if line == told:
            continue
        told = line
        what, must = f"character is U+{ord(match[0]):04X}", "must be one that can be seen"
        do = "delete it; it changes how the line is shown or read"
        if match[0] == "\t":
            what, must, do = "character is a tab", "must be a space", "replace tabs by spaces"
        if match[0] == "\0":
            what, must, do = "byte is 0x00", "must be part of UTF-8 text", "save the file as UTF-8"
        excerpt = text.split("\n", line)[line - 1].replace("\t", " ")
        findings.add(Diagnostic(display, line, column, what, must, do, "SEQ001", excerpt))


def _place_of(before: str) -> tuple[int, int]:
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1
