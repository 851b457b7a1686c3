"""Files are written whole or not at all, whatever fails and whenever it does."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from pathlib import Path

import pytest

from transcriber import files
from transcriber.errors import TranscriberError
from transcriber.files import write_all_whole, write_whole

NOBODY = 65534  # the uid that Linux keeps for no user


def state(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def failing(call, at, error):
    """The system call `call`, failing at its n-th use."""
    count = iter(range(1000))

    def wrapped(*args, **keywords):
        if next(count) == at:
            raise error
        return call(*args, **keywords)

    return wrapped


def test_writes_new_and_replaces_with_force(tmp_path):
    path = tmp_path / "take.mid"
    write_whole(path, b"first")
    with pytest.raises(TranscriberError, match=r"take\.mid' is already there; use --force to replace it"):
        write_whole(path, b"second")
    assert state(tmp_path) == {"take.mid": b"first"}
    write_whole(path, b"second", force=True)
    assert state(tmp_path) == {"take.mid": b"second"}


def test_mode_follows_the_umask_and_the_replaced_file(tmp_path):
    path = tmp_path / "take.mid"
    before = os.umask(0o027)
    try:
        write_whole(path, b"first")
        assert stat.S_IMODE(path.stat().st_mode) == 0o640
        path.chmod(0o600)
        write_whole(path, b"second", force=True)
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    finally:
        os.umask(before)


def test_a_link_is_followed(tmp_path):
    real = tmp_path / "real.mid"
    real.write_bytes(b"old")
    link = tmp_path / "link.mid"
    link.symlink_to(real)
    write_whole(link, b"new", force=True)
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


def test_names_as_long_as_the_system_allows(tmp_path):
    name = "x" * 251 + ".mid"
    write_whole(tmp_path / name, b"data")
    assert state(tmp_path) == {name: b"data"}


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("call", ["fsync", "replace"])
@pytest.mark.parametrize("at", [0, 1, 2])
def test_a_set_is_written_all_or_none(tmp_path, monkeypatch, call, at, error):
    """Disk full or Ctrl-C at any of three files, when staging (fsync) and when putting in place (replace)."""
    targets = [tmp_path / name for name in ("a.json", "b.tab", "c.mid")]
    targets[0].write_bytes(b"old a")
    targets[2].write_bytes(b"old c")
    before = state(tmp_path)
    monkeypatch.setattr(files.os, call, failing(getattr(os, call), at, error))
    expected = TranscriberError if isinstance(error, OSError) else KeyboardInterrupt
    with pytest.raises(expected) as caught:
        write_all_whole(dict.fromkeys(targets, b"new"), force=True)
    if expected is TranscriberError:
        assert (
            str(caught.value)
            == f"'{targets[at]}' cannot be written: No space left on device; nothing was changed"
        )
    assert state(tmp_path) == before


@pytest.mark.parametrize("at", [0, 1])
def test_a_set_of_new_files_is_taken_back(tmp_path, monkeypatch, at):
    monkeypatch.setattr(files.os, "link", failing(os.link, at, KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        write_all_whole({tmp_path / "a": b"1", tmp_path / "b": b"2"})
    assert state(tmp_path) == {}


def test_an_interrupt_after_the_last_rename_keeps_the_new_set(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"old")
    replace = os.replace

    def late(*args):
        replace(*args)
        raise KeyboardInterrupt

    monkeypatch.setattr(files.os, "replace", late)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a", b"new", force=True)
    assert state(tmp_path) == {"a": b"new"}


def test_without_hard_links_new_files_are_renamed(tmp_path, monkeypatch):
    monkeypatch.setattr(files.os, "link", failing(os.link, 0, OSError(errno.EPERM, "not permitted")))
    write_whole(tmp_path / "a", b"1")
    assert state(tmp_path) == {"a": b"1"}


def test_a_file_made_meanwhile_is_not_replaced(tmp_path, monkeypatch):
    path = tmp_path / "a"
    link = os.link

    def race(staged, target):
        path.write_bytes(b"theirs")
        link(staged, target)

    monkeypatch.setattr(files.os, "link", race)
    with pytest.raises(TranscriberError, match="already there"):
        write_whole(path, b"ours")
    assert state(tmp_path) == {"a": b"theirs"}


def test_targets_are_checked_before_any_is_written(tmp_path):
    (tmp_path / "there").write_bytes(b"old")
    (tmp_path / "folder").mkdir()
    new = tmp_path / "new"
    with pytest.raises(TranscriberError, match="already there"):
        write_all_whole({new: b"1", tmp_path / "there": b"2"})
    with pytest.raises(TranscriberError, match="its folder is not there; make it first"):
        write_all_whole({new: b"1", tmp_path / "none" / "x": b"2"}, force=True)
    with pytest.raises(TranscriberError, match="it is a folder; name a file"):
        write_all_whole({new: b"1", tmp_path / "folder": b"2"}, force=True)
    with pytest.raises(TranscriberError, match="are one file; name two"):
        write_all_whole({new: b"1", tmp_path / "folder" / ".." / "new": b"2"}, force=True)
    assert not new.exists()


def test_a_folder_that_cannot_be_written():
    """Root may write anywhere, so for root the write is tried as the user `nobody`."""
    user = os.geteuid()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o555)
        try:
            if user == 0:
                os.seteuid(NOBODY)
            with pytest.raises(TranscriberError, match="Permission denied"):
                write_whole(folder / "a", b"1")
        finally:
            os.seteuid(user)
            folder.chmod(0o700)


def test_what_is_made_when_it_is_written_is_made_one_by_one_and_leaves_nothing_if_it_fails(tmp_path):
    events = []

    def making(name):
        events.append((name, sorted(path.suffix for path in tmp_path.iterdir())))
        return name.encode()

    def torn():
        raise TranscriberError("no sound")

    paths = [tmp_path / name for name in ("a", "b", "c")]
    with pytest.raises(TranscriberError, match="no sound"):
        write_all_whole({paths[0]: lambda: making("a"), paths[1]: torn})
    assert state(tmp_path) == {}
    events.clear()
    write_all_whole({paths[0]: lambda: making("a"), paths[1]: b"b", paths[2]: lambda: making("c")})
    assert state(tmp_path) == {"a": b"a", "b": b"b", "c": b"c"}
    assert events == [("a", []), ("c", [".tmp", ".tmp"])]
