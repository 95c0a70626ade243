"""A file is written whole or not at all, and nothing is left beside it."""

import errno
import os
import re
import signal
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest
from tests.conftest import PROJECT

from kilnfolio.runtime import files
from kilnfolio.runtime.files import (
    TooLargeError,
    read_file,
    read_text,
    read_whole,
    write_whole,
)

#: Kills the process at the nth call of a function of the operating system.
KILL = """
import os, signal, sys
from pathlib import Path
from kilnfolio.runtime.files import write_whole
name, path = sys.argv[1:]
setattr(os, name, lambda *a, **k: os.kill(os.getpid(), signal.SIGKILL))
write_whole(Path(path), b"new" * 9)
"""


def test_files_are_read_up_to_a_limit(tmp_path):
    (tmp_path / "f").write_bytes(b"12345")
    assert read_whole(tmp_path / "f", 5) == b"12345"
    with pytest.raises(TooLargeError, match="5 bytes"):
        read_whole(tmp_path / "f", 4)
    with pytest.raises(IsADirectoryError):
        read_whole(tmp_path, 5)
    with pytest.raises(FileNotFoundError):
        read_whole(tmp_path / "none", 5)


def test_only_as_much_memory_is_set_aside_as_a_file_has(tmp_path):
    (tmp_path / "f").write_bytes(b"12345")
    tracemalloc.start()
    try:
        read_whole(tmp_path / "f", 10**9)
        assert tracemalloc.get_traced_memory()[1] < 10**6
    finally:
        tracemalloc.stop()


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs such a file")
def test_a_file_that_does_not_tell_its_size_is_read_up_to_the_limit():
    assert read_whole(Path("/proc/self/status"), 10**6).startswith(b"Name:")
    with pytest.raises(TooLargeError):
        read_whole(Path("/proc/self/status"), 5)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a pipe with a name")
def test_pipes_and_devices_are_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe")  # nobody writes to it: opening it as a file waits for ever
    for path in (tmp_path / "pipe", Path("/dev/zero")):
        for read in (lambda file: read_whole(file, 5), read_file, read_text):
            with pytest.raises(OSError, match="a pipe or a device"):
                read(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a pipe with a name")
def test_pipes_and_devices_are_not_replaced(tmp_path):
    """An administrator who names /dev/null for what is written still has it afterwards."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "null").symlink_to("/dev/null")
    for name in ("pipe", "null"):
        with pytest.raises(OSError, match="a pipe or a device"):
            write_whole(tmp_path / name, b"new")
    assert {path.name for path in tmp_path.iterdir()} == {"pipe", "null"}
    assert (tmp_path / "pipe").is_fifo()
    assert (tmp_path / "null").is_char_device()


def test_text_is_decoded_as_python_does(tmp_path):
    (tmp_path / "f").write_bytes(b"\xef\xbb\xbfa\r\nb\rc\xff\n")
    for how in (("utf-8", "replace"), ("utf-8-sig", "replace"), ("latin-1",)):
        assert read_text(tmp_path / "f", *how) == (tmp_path / "f").read_text(*how)
    with pytest.raises(UnicodeDecodeError):
        read_text(tmp_path / "f")
    assert read_file(tmp_path / "f") == (tmp_path / "f").read_bytes()


#: Modules that read the program's own files with Python's functions.
OF_THE_PROGRAM = {
    "adopt/countries.py",
    "adopt/preview.py",
    "adopt/scanning.py",
    "adopt/starter.py",
    "adopt/writing.py",
    "charts/paper.py",
    "cli/drills.py",
    "forecast/measured.py",
    "records/sheet_words.py",
    "rendering/compiled.py",
    "rendering/languages.py",
    "rendering/seal_words.py",
    "runtime/code_version.py",
    "site/pages/guide.py",
    "site/pages/kiln_side.py",
    "site/static.py",
}


#: Modules that write folders which are moved into place once whole, or deleted.
OF_FOLDERS = {
    "adopt/sheets/air.py",
    "api/export.py",
    "api/group_site.py",
    "archive/bag.py",
    "archive/recompute.py",
    "graph/away.py",
}


@pytest.mark.parametrize(
    ("ways", "modules"),
    [
        (r"\.read_(?:bytes|text)\(|(?<![\w.])(?<!def )open\(", OF_THE_PROGRAM),
        (r"\.write_(?:bytes|text)\(", OF_FOLDERS),
    ],
    ids=["read", "written"],
)
def test_every_file_of_a_mill_goes_through_these_functions(ways, modules):
    """Elsewhere a pipe would hold a command for ever, and a full disk leave half a file."""
    package = Path(files.__file__).parents[1]
    found = {
        path.relative_to(package).as_posix()
        for path in package.rglob("*.py")
        if re.search(ways, path.read_text("utf-8"))
    }
    assert found == modules


@pytest.fixture(params=["unnamed", "named"])
def way(request, monkeypatch):
    """Write through a file without a name, which Linux can, and in the way of other systems."""
    if request.param == "named":
        monkeypatch.delattr(os, "O_TMPFILE", raising=False)


@pytest.mark.usefixtures("way")
def test_a_refusal_names_the_file_or_the_folder_that_is_missing_and_no_temporary_name(
    tmp_path, monkeypatch
):
    with pytest.raises(FileNotFoundError) as missing:
        write_whole(tmp_path / "none" / "f", b"")
    assert missing.value.filename == str(tmp_path / "none")

    def refuse(*_args, dir, **_more):
        raise PermissionError(errno.EACCES, "Permission denied", f"{dir}/.new-x")

    monkeypatch.delattr(os, "O_TMPFILE", raising=False)
    monkeypatch.setattr("tempfile.mkstemp", refuse)
    with pytest.raises(PermissionError) as refused:
        write_whole(tmp_path / "f", b"")
    assert refused.value.filename == str(tmp_path / "f")


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("before", [None, b"old"])
def test_the_new_file_takes_the_place_of_the_old(tmp_path, before):
    if before:
        (tmp_path / "f").write_bytes(before)
    write_whole(tmp_path / "f", b"new")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"f": b"new"}


@pytest.mark.usefixtures("way")
def test_file_permissions(tmp_path):
    umask = os.umask(0o027)
    try:
        write_whole(tmp_path / "by-umask", b"")
        write_whole(tmp_path / "as-told", b"", 0o644)
        (tmp_path / "as-before").write_bytes(b"old")
        (tmp_path / "as-before").chmod(0o600)
        write_whole(tmp_path / "as-before", b"new")
    finally:
        os.umask(umask)
    assert {path.name: oct(path.stat().st_mode & 0o777) for path in tmp_path.iterdir()} == {
        "by-umask": "0o640",
        "as-told": "0o644",
        "as-before": "0o600",
    }


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("call", ["fsync", "link", "replace"])
def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch, call):
    (tmp_path / "f").write_bytes(b"old")

    def fail(*_, **__):
        raise OSError(28, "No space left on device")

    if call == "replace":
        monkeypatch.setattr(files.Path, "replace", fail)
    elif call == "link" and not hasattr(os, "O_TMPFILE"):
        pytest.skip("nothing is linked here")
    else:
        monkeypatch.setattr(os, call, fail)
    with pytest.raises(OSError, match="No space left"):
        write_whole(tmp_path / "f", b"new")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"f": b"old"}


@pytest.mark.skipif(not hasattr(os, "O_TMPFILE"), reason="needs Linux")
@pytest.mark.parametrize("call", ["fsync", "link"])
def test_a_kill_leaves_the_old_file_and_nothing_else(tmp_path, call):
    (tmp_path / "f").write_bytes(b"old")
    ran = subprocess.run(
        [sys.executable, "-c", KILL, call, str(tmp_path / "f")],
        check=False,
        env={"PYTHONPATH": str(PROJECT / "builder")},
    )
    assert ran.returncode == -signal.SIGKILL
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"f": b"old"}


def test_a_folder_is_flushed_with_everything_in_it(tmp_path, monkeypatch):
    (tmp_path / "a/b").mkdir(parents=True)
    for name in ("f", "a/f", "a/b/f"):
        (tmp_path / name).write_bytes(b"new")
    flushed = noted_syncs(monkeypatch)
    files.sync_tree(tmp_path)
    assert flushed == {path.stat().st_ino for path in (tmp_path, *tmp_path.rglob("*"))}


def noted_syncs(monkeypatch):
    """Return a set that receives the inode of whatever is flushed to the disk."""
    flushed, sync = set(), os.fsync

    def note(handle):
        flushed.add(os.fstat(handle).st_ino)
        sync(handle)

    monkeypatch.setattr(os, "fsync", note)
    return flushed
