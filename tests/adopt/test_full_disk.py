"""A disk that is really full, a file that really cannot be read: nothing is half-written."""

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest
from tests.adopt.own_files import MILL
from tests.adopt.test_entries import DAY, RUNNING, entry_file
from tests.conftest import PROJECT
from tests.minimal import FILES, minimal_mill

from kilnfolio.archive.tokens import make_token_key
from kilnfolio.cli import main
from kilnfolio.graph.tree import Tree
from kilnfolio.records.yaml_source import parse_yaml

FULL = "no space left on device: free some space and try again; the existing files are intact\n"
SHEET = b"Date,Time,S1 (g)\n2026-06-07,20:00,2230\n"


@contextmanager
def small_disk(folder, size):
    """Mount a disk of this many bytes; skip the test where that is not allowed."""
    folder.mkdir()
    mounted = (
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder],
            capture_output=True,
            check=False,
        )
        if shutil.which("mount")
        else None
    )
    if mounted is None or mounted.returncode:
        pytest.skip("no disk can be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


def fill(disk):
    """Leave no byte free."""
    filler = os.open(disk / "filler", os.O_WRONLY | os.O_CREAT)
    try:
        for size in (1 << 16, 1 << 10, 1):
            while True:
                try:
                    os.write(filler, b"x" * size)
                except OSError:
                    break
    finally:
        os.close(filler)


def files(folder):
    """Return every file a person would see, with its bytes."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
        and path.parent.name != ".staging"
        and not {".staging", ".kilnfolio"} & set(path.parts)
        and path.name != "filler"
    }


def test_a_build_on_a_full_disk_leaves_the_site_as_it_was(tmp_path, capsys, monkeypatch):
    """Full from the beginning, and full when the first PDF is written."""
    root = minimal_mill(tmp_path / "mill")
    make_token_key(root / "keys/lot-addresses.key")
    with small_disk(tmp_path / "disk", "64m") as disk:
        build = ["build", str(root), "--out", str(disk / "site"), "--workers", "1"]
        assert main(build) == 0
        before = files(disk)
        printed = {name for name in before if name.endswith(".pdf")}
        charge = root / FILES["charge"]
        charge.write_text(charge.read_text("utf-8").replace("12.1 %", "12.3 %"), "utf-8")
        real, tried = Tree.write, []

        def write(tree, path, data):
            tried.append(path)
            if path.endswith(".pdf"):
                fill(disk)
            real(tree, path, data)

        for at_once in (True, False):
            if at_once:
                fill(disk)
            monkeypatch.setattr(Tree, "write", write)
            capsys.readouterr()
            assert main(build) == 2
            assert capsys.readouterr().err.endswith(FULL)
            assert files(disk) == before
            assert at_once or tried[-1].endswith(".pdf")
            (disk / "filler").unlink()
        monkeypatch.undo()
        assert main(build) == 0
        after = files(disk)
        assert after.keys() == before.keys()
        assert any(after[name] != before[name] for name in printed)


def test_no_record_is_left_half_written_on_a_full_disk(tmp_path, capsys):
    (tmp_path / "s.csv").write_bytes(SHEET)
    with small_disk(tmp_path / "disk", "1m") as disk:
        root = minimal_mill(disk / "mill")
        fill(disk)
        before = files(disk)
        for words in (
            ["new", "mill", str(disk / "ours"), *MILL],
            ["new", "kiln", "k2", str(root)],
            ["new", "keys", str(root)],
            [
                "import",
                "weighings",
                str(tmp_path / "s.csv"),
                str(root),
                "--charge",
                "C1",
                "--by",
                "A. N. Other",
            ],
            ["seal", "C1", str(root), "--by", "A. N. Other", "--new-key"],
        ):
            assert main(words) == 2, words
            assert capsys.readouterr().err.endswith(FULL), words
            assert files(disk) == before, words
        (disk / "filler").unlink()
        assert main(["seal", "C1", str(root), "--by", "A. N. Other", "--new-key"]) == 0
        assert (
            main(
                [
                    "import",
                    "weighings",
                    str(tmp_path / "s.csv"),
                    str(root),
                    "--charge",
                    "C1",
                    "--by",
                    "A. N. Other",
                ]
            )
            == 0
        )


def test_wherever_space_runs_out_the_record_is_old_or_new_as_the_command_says(tmp_path):
    """A little more space each time, so that each write in turn is the one that fails."""
    weigh = ["weigh", "C1", "S1=2230", "--at", "2026-06-08T10:00"]
    with small_disk(tmp_path / "disk", "1m") as disk:
        root = minimal_mill(disk / "mill", charge=RUNNING)
        (root / ".kilnfolio").mkdir()
        (root / ".kilnfolio/lock").touch()
        commands = [[*weigh, "--folder", str(root)], ["undo", str(root)]]
        for words in commands:
            ends = []
            for pages in range(16):
                fill(disk)
                os.truncate(disk / "filler", (disk / "filler").stat().st_size - 4096 * pages)
                before = files(disk)
                ends.append(main(words))
                assert (files(disk) == before) == (ends[-1] != 0), (words, pages)
                if ends[-1] == 0:
                    break
                (disk / "filler").unlink()
            (disk / "filler").unlink()
            assert set(ends[:-1]) == {2}, words
            assert ends[-1] == 0, words


def test_in_a_read_only_folder_nothing_changes_and_the_message_says_what_to_do(tmp_path, capsys):
    (tmp_path / "s.csv").write_bytes(SHEET)
    entry_file(tmp_path / "a.json", DAY[:1])
    with small_disk(tmp_path / "disk", "4m") as disk:
        root = minimal_mill(disk / "mill", charge=RUNNING)
        at = ["--at", "2026-06-08T10:00", "--folder", str(root)]
        assert main(["weigh", "C1", "S1=2230", *at]) == 0
        minimal_mill(disk / "other")
        before = files(disk)
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        by = ["--by", "A. N. Other"]
        sheet = ["import", "weighings", str(tmp_path / "s.csv"), str(root), "--charge", "C1", *by]
        for words in (
            ["weigh", "C1", "S2=2350", *at, "--yes"],
            ["undo", str(root)],
            ["take", str(tmp_path / "a.json"), "--folder", str(root)],
            sheet,
            ["new", "mill", str(disk / "ours"), *MILL],
            ["new", "kiln", "k2", str(root)],
            ["seal", "C1", str(disk / "other"), *by, "--new-key"],
            ["build", str(disk / "other"), "--without-pdf", "--workers", "1"],
            ["sheet", "C1", str(root), "--out", str(disk / "s.pdf")],
            ["export", str(disk / "other"), "--format", "json", "--out", str(disk / "s.json")],
        ):
            capsys.readouterr()
            ended = main(words)
            said = capsys.readouterr()
            assert ended == (1 if words[0] == "take" else 2), (words, said)
            assert "read-only file system" in said.out + said.err, words
            assert words[0] == "take" or "name another folder" in said.err, words
            if "--out" in words:
                assert said.err.startswith(f"kilnfolio: {words[-1]}: "), words
        assert files(disk) == before


def test_two_imports_at_once_lose_neither(tmp_path):
    """Whatever the first import did is still there after the second."""
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    rounds = {f"S1={2230 - hour}": f"2026-06-08T{hour + 10}:00" for hour in range(6)}
    log = tmp_path / "more.csv"
    log.write_bytes((root / FILES["log"]).read_bytes())
    commands = [
        *(["weigh", "C1", mass, "--at", at, "--folder", str(root)] for mass, at in rounds.items()),
        *[["take", str(log), "--folder", str(root)]] * 3,
    ]
    with ThreadPoolExecutor(len(commands)) as pool:
        ended = list(pool.map(main, commands))
    value = parse_yaml((root / FILES["charge"]).read_bytes(), "").value
    there = {str(one["at"]) for one in value["weighings"]}
    for code, at in zip(ended, rounds.values(), strict=False):
        assert (at in there) == (code == 0)  # the others are told to repeat the command
    beside = (root / FILES["charge"]).parent
    assert [one["file"] for one in value["log"] if not (beside / one["file"]).exists()] == []


def python(words, *before):
    """Run Python in a process of its own."""
    return subprocess.run(
        [*before, sys.executable, *words],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": str(PROJECT / "builder")},
    )


def test_a_file_that_cannot_be_written_completely_is_removed(tmp_path):
    """Like a full disk, on machines where none can be mounted: no file may exceed 4 kB."""
    said = python(
        [
            "-c",
            "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, "
            "(4096, 4096)); from kilnfolio.cli import main; sys.exit(main(sys.argv[1:]))",
            "new",
            "mill",
            str(tmp_path / "ours"),
            *MILL,
        ]
    )
    assert said.returncode == 2, said.stderr
    assert "file too large: free some space and try again" in said.stderr
    assert not (tmp_path / "ours").exists()


@pytest.mark.skipif(
    not shutil.which("setpriv") and os.geteuid() == 0,
    reason="the system's administrator may read everything",
)
def test_an_unreadable_sheet_is_reported_as_perhaps_open_elsewhere(tmp_path):
    root = minimal_mill(tmp_path / "mill")
    sheet = tmp_path / "boards.csv"
    sheet.write_bytes(SHEET)
    sheet.chmod(0)
    # an administrator without this privilege is refused like anybody else
    drop = (
        [
            "setpriv",
            "--bounding-set=-dac_override,-dac_read_search",
            "--inh-caps=-dac_override,-dac_read_search",
        ]
        if os.geteuid() == 0
        else []
    )
    said = python(
        ["-m", "kilnfolio", "import", "weighings", str(sheet), str(root), "--charge", "C1"], *drop
    )
    assert said.returncode == 2
    assert said.stderr.startswith(
        "boards.csv:1:1: the file cannot be read: permission denied. If it is open in another "
        "program, close it there; otherwise ask whoever keeps this computer to let you read it.\n"
    )


@pytest.mark.parametrize("mark", ["~$s.csv", ".~lock.s.csv#"])
def test_an_open_sheet_is_read_as_last_saved_and_the_command_says_so(tmp_path, capsys, mark):
    root = minimal_mill(tmp_path / "mill")
    (tmp_path / "s.csv").write_bytes(SHEET)
    (tmp_path / mark).write_bytes(b"\x05Quill")
    words = [
        "import",
        "weighings",
        str(tmp_path / "s.csv"),
        str(root),
        "--charge",
        "C1",
        "--by",
        "A. N. Other",
        "--dry-run",
    ]
    assert main(words) == 0
    said = capsys.readouterr()
    assert said.err.startswith(
        f"kilnfolio: s.csv is open in a spreadsheet program, by {mark} beside it: what was typed "
        "there and not saved is not read. Save it there, and import it again\n"
    )
    assert "2230 g" in said.out
    assert main(["import", "weighings", str(tmp_path / mark), *words[3:]]) == 2
    assert "name the file itself: s.csv." in capsys.readouterr().err
