"""Writing is all or nothing: whatever fails, the older file stays and nothing is left beside it."""

import errno
import os
from pathlib import Path

import pytest

from model.errors import FileRefused
from model.files import write_bytes_atomically, write_text_atomically, written_beside


@pytest.fixture
def kept(tmp_path):
    """Return a file with something worth keeping in it."""
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "old.json").write_bytes(b"worth keeping")
    return folder / "old.json"


def only_the_old_file_is_left(kept):
    return kept.read_bytes() == b"worth keeping" and os.listdir(kept.parent) == [kept.name]


def test_a_file_is_replaced_whole(kept):
    write_text_atomically(kept, "14⅜″\n")
    assert kept.read_bytes() == "14⅜″\n".encode()
    assert os.listdir(kept.parent) == [kept.name]
    write_bytes_atomically(str(kept), b"\0\1")
    assert kept.read_bytes() == b"\0\1"


def test_another_programs_writer_gets_a_path_with_the_same_ending(kept):
    with written_beside(kept) as beside:
        assert beside.suffix == ".json"
        assert beside.parent == kept.parent
        beside.write_text("new", encoding="utf-8")
        assert kept.read_bytes() == b"worth keeping"
    assert kept.read_text(encoding="utf-8") == "new"


def test_a_writer_that_fails_halfway_leaves_the_old_file(kept):
    with pytest.raises(ZeroDivisionError), written_beside(kept) as beside:
        beside.write_bytes(b"half")
        raise ZeroDivisionError
    assert only_the_old_file_is_left(kept)


@pytest.mark.parametrize(
    ("code", "rule"),
    [
        (errno.EACCES, "old.json: may not be written: permission denied. Choose a folder"),
        (errno.ENOSPC, "old.json: cannot be written: the disk is full"),
        (errno.EROFS, "is in a folder that is read-only"),
        (errno.EIO, "cannot be written: "),
    ],
)
@pytest.mark.parametrize("where", ["touch", "write_bytes", "replace"])
def test_an_unwritable_folder_leaves_the_old_file(kept, monkeypatch, code, rule, where):
    def fail(*_args, **_kwargs):
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os if where == "replace" else Path, where, fail)
    with pytest.raises(FileRefused, match=rule):
        write_text_atomically(kept, "new")
    monkeypatch.undo()
    assert only_the_old_file_is_left(kept)


def test_a_write_protected_file_stays(kept, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(FileRefused, match=r"is write-protected. Choose another name"):
        write_text_atomically(kept, "new")
    assert only_the_old_file_is_left(kept)


def test_places_where_no_file_can_be_are_refused(kept):
    with pytest.raises(FileRefused, match=r"must be in a folder that exists. Make the folder"):
        write_text_atomically(kept.parent / "none" / "new.json", "new")
    with pytest.raises(FileRefused, match="must be in a folder that exists"):
        write_text_atomically(kept / "new.json", "new")
    with pytest.raises(FileRefused, match="must be a file; it is a folder"):
        write_text_atomically(kept.parent, "new")
    assert only_the_old_file_is_left(kept)
