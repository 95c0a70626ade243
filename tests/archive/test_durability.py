"""A process killed at any time leaves a ledger that can be read and added to.

Twenty kills by default; more with KILNFOLIO_KILLS.
"""

import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from tests.archive.appender import add_entries
from tests.archive.sealing import verify_ledger

from kilnfolio.archive.adding import MENDED_BY_ADDING, SealRefusedError
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.heads import HEADS
from kilnfolio.archive.ledger import parse_ledger
from kilnfolio.archive.places import LEDGER

KILLS = int(os.environ.get("KILNFOLIO_KILLS", "20"))
APPENDER = Path(__file__).with_name("appender.py")


def gone(child: int) -> bool:
    try:
        os.kill(child, 0)
    except ProcessLookupError:
        return True
    # still there as a zombie of the process that started it
    return ") Z " in Path(f"/proc/{child}/stat").read_text()


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs Linux")
def test_a_ledger_survives_sigkill_at_any_time(tmp_path):
    chance = random.Random(20260608)
    with subprocess.Popen(
        [sys.executable, APPENDER], stdin=subprocess.PIPE, text=True, stdout=subprocess.PIPE
    ) as writer:
        for kill in range(KILLS):
            known = (tmp_path / LEDGER).read_bytes() if kill else b""
            writer.stdin.write(f"{tmp_path}\n")
            writer.stdin.flush()
            child = int(writer.stdout.readline())
            while kill % 2 and (tmp_path / LEDGER).stat().st_size <= len(known):
                time.sleep(0.001)  # every other process is allowed to write an entry
            time.sleep(chance.uniform(0.0, 0.03))
            os.kill(child, signal.SIGKILL)
            while not gone(child):
                time.sleep(0.001)
            ledger = read_ledger(tmp_path)
            assert {d.kind for d in ledger.differences} <= set(MENDED_BY_ADDING)
            whole = known[: len(known) - len(parse_ledger(known).torn)]
            assert (tmp_path / LEDGER).read_bytes().startswith(whole)
            if (kill + 1) % 10 == 0:  # start again, so that entries stay quick to check
                add_entries(tmp_path, 1)
                assert len(read_ledger(tmp_path).entries) == len(ledger.entries) + 1
                assert len(ledger.entries) > 0
                (tmp_path / "content").rename(tmp_path / f"old-{kill}")
                (tmp_path / LEDGER).parent.mkdir(parents=True)
                (tmp_path / LEDGER).touch()
        writer.stdin.close()


def test_a_line_torn_at_any_byte_is_reported_skipped_and_repaired(tmp_path):
    add_entries(tmp_path, 2)
    path = tmp_path / LEDGER
    whole = path.read_bytes()
    first = whole.index(b"\n") + 1
    for end in range(first + 1, len(whole)):
        path.write_bytes(whole[:end])
        ledger = parse_ledger(whole[:end])
        assert [d.kind for d in ledger.differences] == ["ledger-line-torn"]
        assert ledger.differences[0].where == f"{LEDGER.as_posix()}:2"
        assert [entry.number for entry in ledger.entries] == [1]


@pytest.mark.parametrize("lost", [1, 2, 40, 300])
def test_the_next_entry_repairs_a_torn_line(tmp_path, lost):
    add_entries(tmp_path, 2)
    path = tmp_path / LEDGER
    whole = path.read_bytes()
    path.write_bytes(whole[:-lost])
    heads = tmp_path / HEADS  # the head is signed once its entry is complete
    heads.write_bytes(heads.read_bytes().split(b"\n")[0] + b"\n")
    add_entries(tmp_path, 1)
    assert verify_ledger(tmp_path) == ()
    entries = read_ledger(tmp_path).entries
    # An entry that lost only its line end is kept; a partial entry is removed.
    assert len(entries) == (3 if lost == 1 else 2)
    assert path.read_bytes().startswith(whole if lost == 1 else whole[: whole.index(b"\n") + 1])


def test_an_entry_lost_after_its_head_was_signed_is_reported_and_not_covered_up(tmp_path):
    add_entries(tmp_path, 2)
    path = tmp_path / LEDGER
    path.write_bytes(path.read_bytes()[:-40])
    assert "entries-dropped" in {d.kind for d in verify_ledger(tmp_path)}
    with pytest.raises(SealRefusedError, match="entries were taken off its end"):
        add_entries(tmp_path, 1)


def test_a_head_that_was_not_signed_in_time_is_signed_with_the_next_entry(tmp_path):
    add_entries(tmp_path, 2)
    heads = tmp_path / HEADS
    whole = heads.read_bytes()
    for end in (0, 1, whole.index(b"\n") + 1, len(whole) - 1):
        heads.write_bytes(whole[:end])
        assert [d.kind for d in verify_ledger(tmp_path)] == ["head-missing"]
    add_entries(tmp_path, 1)
    assert verify_ledger(tmp_path) == ()
    assert read_ledger(tmp_path).heads[-1].size == 3


def test_a_torn_line_that_does_not_fit_the_chain_is_not_repaired(tmp_path):
    add_entries(tmp_path, 3)
    path = tmp_path / LEDGER
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(lines[0] + lines[2].rstrip(b"\n"))
    (tmp_path / HEADS).unlink()
    with pytest.raises(SealRefusedError, match="does not follow"):
        add_entries(tmp_path, 1)
    assert path.read_bytes() == lines[0] + lines[2].rstrip(b"\n")


def test_two_writers_take_turns(tmp_path):
    failures = []

    def write():
        try:
            add_entries(tmp_path, 15)
        except Exception as error:
            failures.append(error)

    writers = [threading.Thread(target=write) for _ in range(2)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert failures == []
    assert len(read_ledger(tmp_path).entries) == 30
    assert verify_ledger(tmp_path) == ()
