"""Frames: no bit and no length of a journal changes unseen, and a torn write is told apart."""

import random
from pathlib import Path

from coordinator.core.events import CommandFinished, PartySeen, TimePassed
from coordinator.records.frames import BLOCK, SECTOR, frame, scan
from coordinator.records.journal import FORMAT_LINE, Head, Journal, JournalFailed
from tests.support.disks import MemoryDisk

NAME = Path("journal.log")
SAMPLES = 100


def journal_of(commits: int) -> bytes:
    """Return a journal of so many commits of two events each."""
    disk = MemoryDisk()
    journal = Journal.create_on(disk, NAME, Head("run", "d" * 64))
    for number in range(commits):
        journal.append(PartySeen(number, 0, 7, 0))
        journal.append(CommandFinished(number, 0, number, (("torque_nm", 998.5),)))
        journal.commit()
    return bytes(disk.content)


def is_seen(content: bytes) -> bool:
    """Tell whether a journal is refused or called bad."""
    try:
        return Journal.open_on(MemoryDisk(content), NAME).verify() is not None
    except JournalFailed:
        return True


def flipped(content: bytes, bit: int) -> bytes:
    changed = bytearray(content)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


def test_every_flipped_bit_of_a_journal_is_seen() -> None:
    """RC3: one separator outside a chain is enough to let a change pass, so every bit is tried."""
    content = journal_of(6)

    silent = [bit for bit in range(8 * len(content)) if not scan_sees(flipped(content, bit))]

    assert len(content) == BLOCK
    assert silent == []


def scan_sees(content: bytes) -> bool:
    """As `is_seen`, without what a journal does beside: this is asked a hundred thousand times."""
    return content[: len(FORMAT_LINE)] != FORMAT_LINE or scan(content, FORMAT_LINE).damage != ""


def test_every_cut_of_a_journal_is_seen() -> None:
    """A journal that has lost its end would let what is done be done again."""
    for commits in (0, 6):
        content = journal_of(commits)

        silent = [length for length in range(len(content)) if not is_seen(content[:length])]

        assert not is_seen(content)
        assert silent == []


def test_sampled_bits_and_cuts_of_a_long_journal_are_seen() -> None:
    """What holds for one block must hold for many."""
    content = journal_of(1000)
    rng = random.Random(5)

    bits = [rng.randrange(8 * len(content)) for _ in range(SAMPLES)]
    cuts = [rng.randrange(len(content)) for _ in range(SAMPLES)]

    assert len(content) > 30 * BLOCK
    assert [bit for bit in bits if not is_seen(flipped(content, bit))] == []
    assert [cut for cut in cuts if not is_seen(content[:cut])] == []
    borders = range(BLOCK, len(content), BLOCK)
    assert [cut for cut in borders if not is_seen(content[:cut])] == []


def test_a_flipped_bit_never_looks_like_a_write_that_was_broken_off() -> None:
    """RC4: what was durable, and had effects, must not be cut away as if it never was."""
    content = journal_of(6)
    written = len(content.rstrip(b"\0"))

    torn = [
        bit
        for bit in range(8 * len(FORMAT_LINE), 8 * written)
        if scan(flipped(content, bit), FORMAT_LINE).damage == "torn"
    ]

    assert torn == []


def test_every_prefix_of_the_last_write_is_known_as_broken_off() -> None:
    """A process may die at any byte of a write into room that is all zeros."""
    content = journal_of(6)
    whole = scan(content, FORMAT_LINE)
    before = scan(journal_of(5), FORMAT_LINE).end

    for length in range(1, whole.end - before):
        torn = content[: before + length] + bytes(len(content) - before - length)
        found = scan(torn, FORMAT_LINE)

        assert (found.damage, len(found.bodies)) == ("torn", len(whole.bodies) - 1), length


def test_lost_sectors_of_the_last_write_are_known_as_broken_off() -> None:
    """When power fails a disk may have written the later sectors and not the earlier ones."""
    content = journal_of(6)
    end = scan(content, FORMAT_LINE).end
    last, _ = frame(scan(content, FORMAT_LINE).digest, 7, b"x" * (5 * SECTOR))
    full = content[:end] + last + bytes(BLOCK - end - len(last))
    assert scan(full, FORMAT_LINE).damage == ""
    borders = [end, *range(end // SECTOR * SECTOR + SECTOR, end + len(last), SECTOR)]

    for left, right in zip(borders, [*borders[1:], end + len(last)], strict=True):
        found = scan(full[:left] + bytes(right - left) + full[right:], FORMAT_LINE)

        assert (found.damage, found.end) == ("torn", end), left


def test_a_lost_sector_in_the_middle_is_damage_and_not_a_broken_write() -> None:
    """Whole commits stand behind it: cutting them away would forget what was done."""
    content = journal_of(20)
    begin = 3 * SECTOR

    found = scan(content[:begin] + bytes(SECTOR) + content[begin + SECTOR :], FORMAT_LINE)

    assert found.damage == "damaged"


def test_a_file_grown_without_a_commit_is_sound() -> None:
    """A process may die between taking room and writing into it."""
    disk = MemoryDisk(journal_of(3) + bytes(BLOCK))

    assert not is_seen(bytes(disk.content))
    journal = Journal.take_up_on(disk, NAME)
    journal.append(TimePassed(9))
    journal.close()
    assert not is_seen(bytes(disk.content))
