"""The commissioning book: only appended, durable, and refused whole once it is damaged."""

import hashlib
import json
from pathlib import Path

import pytest

from coordinator.commissioning.book import Book, BookFailed, book_path, read_book

AT = "2030-01-01T00:00:00Z"


def written(folder: Path, count: int = 3) -> Path:
    """Write a book of some entries and return its path."""
    path = book_path(folder, "cell")
    with Book.open(path) as book:
        for number in range(count):
            book.append(AT, "seen", "Ada", {"tag": f"t{number}", "value": number})
    return path


def test_what_was_appended_is_read_back_in_order_after_the_process_is_gone(tmp_path: Path) -> None:
    """Evidence outlives the program that took it."""
    path = written(tmp_path)

    entries = read_book(path)

    assert [(one.number, one.kind, one.by, one.body["tag"]) for one in entries] == [
        (0, "seen", "Ada", "t0"),
        (1, "seen", "Ada", "t1"),
        (2, "seen", "Ada", "t2"),
    ]


def test_a_book_goes_on_where_it_ended_and_its_chain_covers_everything(tmp_path: Path) -> None:
    """The digests are computed here from the bytes of the file alone."""
    path = written(tmp_path, 2)
    with Book.open(path) as book:
        book.append(AT, "more", "Ben", {})

    lines = path.read_bytes().rstrip(b"\0").splitlines()
    digest = hashlib.sha256(lines[0] + b"\n").hexdigest()
    for line in lines[1:]:
        body, _, told = line.rpartition(b":")
        digest = hashlib.sha256(digest.encode() + body).hexdigest()
        assert told.decode() == digest
    assert [one.digest for one in read_book(path)][-1] == digest
    assert json.loads(lines[3].split(b":", 3)[3].rpartition(b":")[0])["by"] == "Ben"


def test_no_byte_of_a_book_can_change_unseen(tmp_path: Path) -> None:
    """CM3: A tick that can be painted in afterwards is no evidence."""
    path = written(tmp_path)
    sound = path.read_bytes()
    before = read_book(path)

    unseen = []
    for place in range(len(sound.rstrip(b"\0"))):
        damaged = bytearray(sound)
        damaged[place] ^= 1
        path.write_bytes(damaged)
        try:
            if read_book(path) == before:
                unseen.append(place)
        except BookFailed:
            continue
    assert unseen == []


def test_an_entry_that_a_crash_broke_off_is_left_out_and_the_book_goes_on(tmp_path: Path) -> None:
    """Power may go in the middle of a line; what was durable before still counts."""
    path = written(tmp_path, 2)
    content = bytearray(path.read_bytes())
    end = len(content.rstrip(b"\0"))
    content[end : end + 10] = b"00000002:0"
    path.write_bytes(content)

    with Book.open(path) as book:
        book.append(AT, "seen", "Ada", {"tag": "t2"})

    assert [one.body["tag"] for one in read_book(path)] == ["t0", "t1", "t2"]


def test_a_book_that_another_process_writes_is_not_opened_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two writers would break the chain."""
    path = written(tmp_path)
    monkeypatch.setattr("coordinator.commissioning.book.LOCK_S", 0.1)

    with Book.open(path), pytest.raises(BookFailed, match="another process"), Book.open(path):
        pass


def test_a_file_that_is_no_book_is_refused_and_a_missing_one_is_empty(tmp_path: Path) -> None:
    """Whoever names the wrong folder is told so."""
    path = book_path(tmp_path, "cell")
    assert read_book(path) == ()
    path.write_text("hello\n" * 2000)

    with pytest.raises(BookFailed, match="is no commissioning book"):
        read_book(path)
