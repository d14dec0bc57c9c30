"""Frame what is written to a journal so that no byte of it can change unseen.

A file is the format line, then one frame per commit, then zeros up to a whole number of blocks,
at least one zero. A frame is ``number:length:check:body:digest`` and a line end; the digest covers
the one before it, the header and the body. So a cut file has a wrong length, ends inside a frame,
or has no zero left; a frame that was being written in a crash lacks its end, or whole sectors.

Units: offsets and lengths in bytes.
Invariants: RC3, every byte of a journal is compared with something; RC4, one flipped bit of a whole
frame never makes it look as if it had not been written to its end.
"""

import hashlib
import re
import zlib
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

BLOCK = 8_192
"""Chosen: a dozen commits or more; the file grows, and its length is synced, that seldom."""
SECTOR = 512
"""The least that disks write at once."""
HEADER_LENGTH = 27
_DIGEST_LENGTH = 64
_TRAILER_LENGTH = _DIGEST_LENGTH + 2
_BODY_LENGTH_MAX = 1 << 28
"""Chosen: far above any commit; a damaged length must not claim the whole file."""
_LATER_FRAME = re.compile(rb"\n[0-9a-f]{8}:[0-9a-f]{8}:[0-9a-f]{8}:")

Damage = Literal["", "torn", "cut", "damaged"]


@dataclass(frozen=True, slots=True)
class Scan:
    """What stands in a file."""

    bodies: tuple[bytes, ...]
    """Of the sound frames at its beginning."""
    end: int
    """Behind the last of them."""
    digest: str
    """Of the last of them."""
    damage: Damage = ""
    """What is wrong behind it: `torn` for a write that a crash broke off, which never counted."""
    digests: tuple[str, ...] = ()
    """Of each of them, with all before it."""


def frame(previous: str, number: int, body: bytes) -> tuple[bytes, str]:
    """Return a frame and its digest.

    Args:
        previous: Digest of the frame before it.
        number: Counts from 0.
        body: What it holds.
    """
    header = _header(number, len(body))
    digest = hashlib.sha256(previous.encode() + header + body).hexdigest()
    return b"%b%b:%b\n" % (header, body, digest.encode()), digest


def size_for(end: int) -> int:
    """Return how long a file is whose frames end at `end`: whole blocks, and a zero left."""
    return (end // BLOCK + 1) * BLOCK


def first_digest(format_line: bytes) -> str:
    """Return what the first frame is chained to."""
    return hashlib.sha256(format_line).hexdigest()


def scan(content: bytes, format_line: bytes) -> Scan:
    """Read every frame of a file that begins with `format_line`."""
    offset, digest = len(format_line), first_digest(format_line)
    written = len(content.rstrip(b"\0"))
    bodies: list[bytes] = []
    digests: list[str] = []
    while offset < written:
        body = _sound_body(content, offset, len(bodies), digest)
        if body is None:
            damage = _damage(content, offset, len(bodies))
            return Scan(tuple(bodies), offset, digest, damage, tuple(digests))
        offset += HEADER_LENGTH + len(body) + _TRAILER_LENGTH
        digest = content[offset - 1 - _DIGEST_LENGTH : offset - 1].decode()
        bodies.append(body)
        digests.append(digest)
    is_whole = len(content) >= size_for(offset) and len(content) % BLOCK == 0
    return Scan(tuple(bodies), offset, digest, "" if is_whole else "cut", tuple(digests))


def _header(number: int, length: int) -> bytes:
    start = b"%08x:%08x:" % (number, length)
    return start + b"%08x:" % zlib.crc32(start)


def _length_of(content: bytes, offset: int, number: int) -> int | None:
    """Return the length in a sound header, None for any other."""
    header = content[offset : offset + HEADER_LENGTH]
    if not re.fullmatch(rb"(?:[0-9a-f]{8}:){3}", header):
        return None
    length = int(header[9:17], 16)
    is_sound = header == _header(number, length) and length <= _BODY_LENGTH_MAX
    return length if is_sound else None


def _sound_body(content: bytes, offset: int, number: int, previous: str) -> bytes | None:
    length = _length_of(content, offset, number)
    if length is None:
        return None
    start = offset + HEADER_LENGTH
    body = content[start : start + length]
    whole, _ = frame(previous, number, body)
    return body if content[offset : offset + len(whole)] == whole else None


def _damage(content: bytes, offset: int, number: int) -> Damage:
    """Tell why the frame at `offset` is not sound."""
    if len(content) % BLOCK:
        return "cut"
    length = _length_of(content, offset, number)
    if length is None:
        is_last = _LATER_FRAME.search(content, offset + 1) is None
        end = offset + HEADER_LENGTH
    else:
        end = offset + HEADER_LENGTH + length + _TRAILER_LENGTH
        is_last = not content[end:].rstrip(b"\0")
    if end > len(content):
        return "cut"  # A file is grown before anything is written into its new room.
    return "torn" if is_last and _has_hole(content, offset, end) else "damaged"


def _has_hole(content: bytes, begin: int, end: int) -> bool:
    """Tell whether the end or a whole sector of a frame was never written."""
    if content[end - 1] == 0:
        return True
    borders = [begin, *range(begin // SECTOR * SECTOR + SECTOR, end, SECTOR), end]
    return any(not content[left:right].strip(b"\0") for left, right in pairwise(borders))
