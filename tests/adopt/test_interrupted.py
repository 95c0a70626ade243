"""Commands killed half-way: nothing is left behind, and they can be repeated."""

import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.adopt.own_files import MILL
from tests.adopt.test_full_disk import FULL, SHEET, fill, small_disk
from tests.archive.sealing import write_key
from tests.conftest import PROJECT
from tests.minimal import FILES, minimal_log, minimal_mill
from tests.trust.sealing import labelled_mill

from kilnfolio.archive.tokens import replace_token_key, withdraw
from kilnfolio.cli import main

#: Runs each command it is sent in a process that kills itself the nth time it waits for the disk. They
#: start as copies of one that has imported what the commands need.
KILLED = """
import json, os, signal, sys
from kilnfolio.cli import main
import kilnfolio.adopt.import_log, kilnfolio.adopt.mill, kilnfolio.adopt.sheets.importing
import kilnfolio.records.checking

real = os.fsync
def fsync(handle):
    global count
    count -= 1
    if count == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    real(handle)

for line in sys.stdin:
    count, words = json.loads(line)
    child = os.fork()
    if child == 0:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.fsync = fsync
        code = -1
        try:
            code = main(words)
        finally:
            os._exit(code)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


@pytest.fixture(scope="module")
def killed():
    """Return a function that runs a command to be killed, and says whether it was or had ended."""
    with subprocess.Popen(
        [sys.executable, "-c", KILLED],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(PROJECT / "builder")},
    ) as process:

        def run(at: int, words: list[str]) -> bool:
            process.stdin.write(json.dumps([at, words]) + "\n")
            process.stdin.flush()
            ended = int(process.stdout.readline())
            assert ended in (0, -signal.SIGKILL)
            return ended != 0

        yield run
        process.stdin.close()
    assert process.returncode == 0


def files(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and ".kilnfolio" not in path.parts
    }


def test_new_mill_can_be_repeated_after_it_was_killed(tmp_path, capsys, killed):
    assert main(["new", "mill", str(tmp_path / "whole"), *MILL]) == 0
    whole = files(tmp_path / "whole")
    for at in (1, 2, 40, len(whole) * 2 - 2):
        root = tmp_path / f"killed-{at}"
        assert killed(at, ["new", "mill", str(root), *MILL])
        left = files(root)
        assert "content/mill.yaml" not in left
        assert left.items() <= whole.items()  # each of them complete
        assert main(["new", "mill", str(root), *MILL]) == 0, capsys.readouterr().err
        assert files(root) == whole
    assert main(["new", "mill", str(tmp_path / "whole"), *MILL]) == 2
    assert "this folder holds a mill already" in capsys.readouterr().err


def test_an_import_that_was_killed_leaves_the_record_as_it_was(tmp_path, capsys, killed):
    root = minimal_mill(tmp_path / "mill")
    (tmp_path / "s.csv").write_bytes(SHEET)
    words = [
        "import",
        "weighings",
        str(tmp_path / "s.csv"),
        str(root),
        "--charge",
        "C1",
        "--by",
        "A. N. Other",
    ]
    before = files(root)
    assert killed(1, words)
    assert files(root) == before
    assert main(words) == 0, capsys.readouterr().err
    assert files(root).keys() == before.keys()


def test_a_log_whose_import_was_killed_can_be_imported_again(tmp_path, capsys, killed):
    root = minimal_mill(tmp_path / "mill")
    (tmp_path / "more.csv").write_text(minimal_log(), "utf-8")
    words = [
        "import",
        "log",
        str(tmp_path / "more.csv"),
        str(root),
        "--kiln",
        "k1",
        "--id",
        "two-bulbs",
        "--charge",
        "C1",
    ]
    before = files(root)
    at = 1
    while killed(at, words):
        now = files(root)
        copied = now.pop(FILES["log"].replace("bulbs", "more"), None)
        assert copied in (None, minimal_log().encode())  # complete, if it is there
        if b"more.csv" in now[FILES["charge"]]:  # the record is the new one, complete
            assert copied
            now[FILES["charge"]] = before[FILES["charge"]]
        assert now == before
        at += 1
    assert 2 < at < 20
    assert main(words) == 0, capsys.readouterr().err
    assert files(root).keys() - before.keys() == {FILES["log"].replace("bulbs", "more")}


def test_a_printed_file_is_complete_or_as_it_was(tmp_path, capsys):
    root = labelled_mill(tmp_path / "mill")
    with small_disk(tmp_path / "disk", "256k") as disk:
        (disk / "old.pdf").write_bytes(b"what was there")
        fill(disk)
        for words in (
            ["sheet", "C1", str(root)],
            ["labels", "--folder", str(root)],
            ["audit", str(root), "--report"],
        ):
            option = [] if words[0] == "audit" else ["--out"]
            for name in ("old.pdf", "new.pdf"):
                capsys.readouterr()
                assert main([*words, *option, str(disk / name)]) == 2, words
                assert capsys.readouterr().err.endswith(FULL), words
        assert {path.name for path in disk.iterdir()} == {"old.pdf", "filler"}
        assert (disk / "old.pdf").read_bytes() == b"what was there"


# --- links ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "command",
    [
        ["check"],
        ["build", "--without-pdf", "--workers", "1"],
        ["seal", "C1", "--by", "A. N. Other", "--new-key"],
    ],
)
@pytest.mark.parametrize("kind", ["log", "charge", "kiln"])
def test_a_link_out_of_the_mill_is_refused(tmp_path, capsys, command, kind):
    root = minimal_mill(tmp_path / "mill")
    (tmp_path / "elsewhere").write_bytes((root / FILES[kind]).read_bytes())
    (root / FILES[kind]).unlink()
    (root / FILES[kind]).symlink_to(tmp_path / "elsewhere")
    words = (
        [*command, str(root)] if command[0] != "seal" else [*command[:2], str(root), *command[2:]]
    )
    assert main(words) == 2
    assert "a link that leads out of the mill's folder" in capsys.readouterr().err
    assert not (root / "site/customer").exists()


def test_a_link_within_the_mill_is_followed(tmp_path):
    root = minimal_mill(tmp_path / "mill")
    log = root / FILES["log"]
    log.rename(root / "content/loggers/bulbs.csv")
    log.symlink_to(root / "content/loggers/bulbs.csv")
    assert main(["check", str(root)]) in (0, 1)


# --- pipes, devices, folders without end ----------------------------------------------------------


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a pipe with a name")
@pytest.mark.parametrize(
    ("place", "command"),
    [
        ("mill/content/kilns/k9.yaml", ["check", "mill"]),
        ("mill/content/kilns/k9.yaml", ["build", "mill", "--without-pdf", "--workers", "1"]),
        ("mill/content/charges/2026/C1/bulbs.csv", ["build", "mill", "--without-pdf"]),
        ("s.csv", ["import", "weighings", "s.csv", "mill", "--charge", "C1"]),
        ("s.csv", ["import", "log", "s.csv", "mill", "--kiln", "k1"]),
        ("s.json", ["take", "s.json", "--folder", "mill"]),
        ("s.csv", ["take", "s.csv", "--folder", "mill"]),
        ("s.png", ["take", "--scan", "s.png", "--folder", "mill"]),
    ],
)
def test_a_pipe_in_place_of_a_file_does_not_hang_a_command(
    tmp_path, monkeypatch, capsys, place, command
):
    """Nobody writes to it, so a program that opens it as a file waits for ever."""
    minimal_mill(tmp_path / "mill")
    monkeypatch.chdir(tmp_path)
    (tmp_path / place).unlink(missing_ok=True)
    os.mkfifo(tmp_path / place)
    assert main(command) == (1 if command[0] == "take" else 2)
    said = capsys.readouterr()
    assert "a pipe or a device" in said.out + said.err or "no such file" in said.err


@pytest.fixture(scope="module")
def labelled(tmp_path_factory):
    """Return a mill with every file of our own making: seals, keys, what can be undone."""
    root = labelled_mill(tmp_path_factory.mktemp("own") / "mill")
    write_key(root)
    replace_token_key(root)
    withdraw(root, ["L1"])
    weigh = ["weigh", "C1", "S1=2230", "--at", "2026-06-07T21:00", "--folder", str(root), "--yes"]
    assert main(weigh) == 0
    return root


@pytest.fixture
def no_waiting():
    """Let whoever opens a pipe as a file fail, in place of waiting for ever."""
    here = True

    def refuse(event, arguments):
        path, _, flags = arguments if here and event == "open" else (0, 0, 0)
        if isinstance(path, str | Path) and not flags & os.O_NONBLOCK and Path(path).is_fifo():
            raise RuntimeError(f"whoever opens {path} so waits for ever")

    sys.addaudithook(refuse)  # nothing takes it away again
    yield
    here = False


@pytest.mark.usefixtures("no_waiting")
@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a pipe with a name")
def test_a_pipe_in_the_place_of_a_file_of_ours_holds_no_command(labelled, tmp_path, capsys):
    """A ledger, a key, a lock, a copy to undo from: refused with the file's name, or passed over."""
    by, mill = ["--by", "A. N. Other"], str(tmp_path / "mill")
    heads, amend = ["ledger", "head", "--folder", mill], ["amend", "C1", mill, *by, "--reason", "x"]
    labels = ["labels", "--folder", mill, "--out", str(tmp_path / "labels.pdf")]
    a_pipe = "it is a pipe or a device, and no file"
    rows = {
        "content/ledger/ledger.jsonl": ([heads, amend, ["check", mill], ["audit", mill]], a_pipe),
        "content/ledger/heads.jsonl": ([heads], a_pipe),
        "content/ledger/keys.yaml": ([heads], a_pipe),
        "content/ledger/dossiers/C1-1.json": ([heads], "is not there"),
        "content/ledger/lots/L1-1.json": ([heads], "is not there"),
        "content/charges/2026/C1/bulbs.csv": ([["check", mill]], a_pipe),
        "keys/seal-key.pem": ([amend], a_pipe),
        "keys/lot-addresses.key": (
            [labels, ["new", "keys", mill, "--replace-addresses"]],
            a_pipe,
        ),
        "keys/lot-addresses.1.key": ([labels], a_pipe),
        "keys/withdrawn-addresses.txt": (
            [labels, ["new", "keys", mill, "--withdraw", "L1"]],
            a_pipe,
        ),
        ".kilnfolio/undo/000001.json": ([["undo", mill]], "there is nothing to undo"),
        ".kilnfolio/lock": ([["undo", mill]], ""),
    }
    for name, (commands, said) in rows.items():
        shutil.rmtree(mill, ignore_errors=True)
        shutil.copytree(labelled, mill)
        (tmp_path / "mill" / name).unlink()
        os.mkfifo(tmp_path / "mill" / name, 0o600)
        for command in commands:
            capsys.readouterr()
            ended = main(command)
            told = capsys.readouterr()
            assert said in told.out + told.err, (name, command)
            assert ended in ((1, 2) if said else (0,)), (name, command, ended)
        assert (tmp_path / "mill" / name).is_fifo(), name  # and nothing was put in its place


def test_an_endless_log_is_refused_before_it_fills_the_memory(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill")
    log = tmp_path / "big.csv"
    with log.open("wb") as file:
        file.truncate(10**12)
    assert main(["import", "log", str(log), str(root), "--kiln", "k1"]) == 2
    assert "the file has 1,000,000,000,000 bytes" in capsys.readouterr().err
    log.rename(root / "content/charges/2026/C1/other.json")
    (tmp_path / "a.json").symlink_to(root / "content/charges/2026/C1/other.json")
    assert main(["take", str(tmp_path / "a.json"), "--folder", str(root)]) == 1
    assert "at most 1,048,576 are read" in capsys.readouterr().out


def test_a_folder_that_links_to_itself_is_read_once(tmp_path):
    root = minimal_mill(tmp_path / "mill")
    for name in ("a", "b"):
        (root / "content" / name).symlink_to(root / "content")
        (root / "content/charges" / name).symlink_to("..")
    assert main(["check", str(root)]) in (0, 1)
    assert main(["build", str(root), "--without-pdf", "--workers", "1"]) == 0
