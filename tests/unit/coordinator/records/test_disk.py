"""The file of a journal: grown with zeros, written in place, one writer."""

from pathlib import Path

import pytest

from coordinator.records.disk import DiskFile


def test_a_file_grows_with_zeros_and_is_written_in_place(tmp_path: Path) -> None:
    """Room that is taken before keeps a full disk from leaving half of a write."""
    disk = DiskFile.create(tmp_path / "file")
    disk.grow(100)
    disk.write(10, b"words")
    disk.sync()

    assert disk.size() == 100
    assert disk.read() == bytes(10) + b"words" + bytes(85)
    disk.close()


def test_a_second_writer_is_refused_and_a_reader_is_not(tmp_path: Path) -> None:
    """RC2: two processes that write would overwrite each other's commits."""
    disk = DiskFile.create(tmp_path / "file")

    with pytest.raises(BlockingIOError):
        DiskFile.open_to_write(tmp_path / "file")
    DiskFile.open_to_read(tmp_path / "file").close()
    disk.close()

    DiskFile.open_to_write(tmp_path / "file").close()


def test_a_file_that_is_there_is_never_made_anew(tmp_path: Path) -> None:
    """A run's history must not be lost to a repeated name."""
    DiskFile.create(tmp_path / "file").close()

    with pytest.raises(FileExistsError):
        DiskFile.create(tmp_path / "file")
