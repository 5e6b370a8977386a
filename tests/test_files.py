"""Files are written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from dampcell.workbooks.files import STALE_AFTER, sweep, write_bytes


def test_a_written_file_holds_all_bytes_and_leaves_nothing_else(tmp_path: Path) -> None:
    write_bytes(tmp_path / "a.bin", b"new")
    assert (tmp_path / "a.bin").read_bytes() == b"new"
    assert os.listdir(tmp_path) == ["a.bin"]


def test_writing_replaces_an_older_file(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(b"old and longer")
    write_bytes(tmp_path / "a.bin", b"new")
    assert (tmp_path / "a.bin").read_bytes() == b"new"


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_write_that_fails_keeps_the_older_file_and_no_temporary(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    (tmp_path / "a.bin").write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(OSError, match="No space left on device"):
        write_bytes(tmp_path / "a.bin", b"new")
    assert (tmp_path / "a.bin").read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.bin"]


def test_an_interrupted_write_keeps_the_older_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.bin").write_bytes(b"old")

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_bytes(tmp_path / "a.bin", b"new")
    assert (tmp_path / "a.bin").read_bytes() == b"old"


def test_the_data_reach_the_disk_before_the_name_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str] = []
    fsync, replace = os.fsync, os.replace

    def synced(descriptor: int) -> None:
        steps.append("fsync")
        fsync(descriptor)

    def replaced(source: Path, target: Path) -> None:
        steps.append("replace")
        replace(source, target)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "replace", replaced)
    write_bytes(tmp_path / "a.bin", b"new")
    assert steps[:2] == ["fsync", "replace"]


def test_writing_into_a_missing_folder_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        write_bytes(tmp_path / "none" / "a.bin", b"new")


def test_stale_temporaries_are_swept_and_young_ones_and_other_files_stay(tmp_path: Path) -> None:
    stale, young, other = (tmp_path / name for name in (".dampcell-1.tmp", ".dampcell-2.tmp", "job.tmp"))
    for path, written in ((stale, 1000.0), (young, 1000.0 + STALE_AFTER), (other, 1000.0)):
        path.write_bytes(b"x")
        os.utime(path, (written, written))
    assert sweep(tmp_path, now=1001.0 + STALE_AFTER) == [stale]
    assert sorted(os.listdir(tmp_path)) == [".dampcell-2.tmp", "job.tmp"]


def test_sweeping_a_missing_folder_finds_nothing(tmp_path: Path) -> None:
    assert sweep(tmp_path / "none", now=0.0) == []
