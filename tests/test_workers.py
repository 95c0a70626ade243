"""Shared work: nothing is lost with a worker, nothing outlives the build, the bytes are the same.

The same tasks on a cluster of two worker processes are in ``tests/test_cluster.py``.
"""

import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time

import pytest
from tests.minimal import minimal_mill

from kilnfolio.runtime.errors import WorkersUnreachableError
from kilnfolio.runtime.workers import MOST_DEATHS, Workers, _start_fork_server


@pytest.fixture
def workers():
    pool = Workers(2, preload=())
    yield pool
    pool.shutdown(cancel_futures=True)


def test_a_killed_worker_takes_no_work_with_it(workers):
    pids = {workers.submit(os.getpid).result() for _ in range(4)}
    tasks = [workers.submit(divmod, number, 7) for number in range(20)]
    slow = [workers.submit(time.sleep, 0.4) for _ in range(4)]
    for process in multiprocessing.active_children():
        if process.pid in pids:
            os.kill(process.pid, signal.SIGKILL)
    assert [task.result(120) for task in tasks] == [divmod(number, 7) for number in range(20)]
    assert [task.result(120) for task in slow] == [None] * 4
    assert workers.submit(os.getpid).result() not in pids


def test_a_task_that_kills_every_worker_is_given_up(workers):
    with pytest.raises(WorkersUnreachableError, match="memory runs out"):
        workers.submit(os._exit, 1).result(120)
    assert MOST_DEATHS == 3
    assert workers.submit(len, "abc").result(120) == 3


def test_fresh_processes_take_over_after_a_while(workers, monkeypatch):
    monkeypatch.setattr("kilnfolio.runtime.workers.TASKS_PER_PROCESS", 2)
    pids = [workers.submit(os.getpid).result() for _ in range(8)]
    assert set(pids[:4]).isdisjoint(pids[4:])


def _send_half_a_result(path):
    """Announce a result of 1,000 bytes, send none of them, and wait; later, return one."""
    if not path.exists():
        sys._getframe(1).f_locals["result_queue"]._writer._send((1000).to_bytes(4, "big"))
        path.write_text(str(os.getpid()))
        time.sleep(600)
    return "whole"


def test_shutdown_does_not_wait_for_the_rest_of_a_result(workers, tmp_path):
    """A page that a process was sending when Ctrl-C stopped it kept the build from ending."""
    workers.submit(_send_half_a_result, tmp_path / "half")
    while not (tmp_path / "half").exists():
        time.sleep(0.01)
    ending = threading.Thread(target=workers.shutdown, kwargs={"cancel_futures": True}, daemon=True)
    ending.start()
    ending.join(60)
    assert not ending.is_alive()


def test_a_process_killed_while_it_sends_a_result_does_not_stop_the_others(workers, tmp_path):
    """Its pool reads on and would never end; the task runs again, and so do those that wait."""
    task = workers.submit(_send_half_a_result, tmp_path / "half")
    while not (tmp_path / "half").exists():
        time.sleep(0.01)
    others = [workers.submit(divmod, number, 7) for number in range(20)]
    os.kill(int((tmp_path / "half").read_text()), signal.SIGKILL)
    assert task.result(120) == "whole"
    assert [other.result(120) for other in others] == [divmod(number, 7) for number in range(20)]


def test_processes_are_ready_once_started():
    with Workers(2) as pool:
        assert not pool.ready
        pool.start()
        assert pool.submit(len, "abc").result(120) == 3
        while not pool.ready:
            time.sleep(0.01)


def test_processes_that_are_stopped_while_they_start_never_become_ready(capfd):
    pool = Workers(2)
    pool.start()
    pool.shutdown(cancel_futures=True)
    pool._starting.join(120)
    assert not pool._starting.is_alive()
    assert not pool.ready
    assert capfd.readouterr().err == ""


def test_no_process_is_started_where_there_is_no_work():
    before = multiprocessing.active_children()
    Workers(2).shutdown()
    assert multiprocessing.active_children() == before


#: A run with work for a minute in two processes, and what a build does when it is stopped.
LONG = """
import sys, time
from kilnfolio.runtime.workers import Workers

if __name__ == "__main__":
    pool = Workers(2, preload=())
    try:
        pids = {pool.submit(__import__("os").getpid).result() for _ in range(6)}
        tasks = [pool.submit(time.sleep, 30) for _ in range(4)]
        print(*pids, flush=True)
        [task.result() for task in tasks]
    except KeyboardInterrupt:
        pool.shutdown(cancel_futures=True)
        sys.exit(130)
"""


def long_run(tmp_path):
    script = tmp_path / "long.py"
    script.write_text(LONG)
    run = subprocess.Popen(
        [sys.executable, script],
        stdout=subprocess.PIPE,
        text=True,
        stderr=subprocess.PIPE,
        start_new_session=True,
        # a run in the background of a shell ignores Ctrl-C, and so would its children
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    return run, [int(pid) for pid in run.stdout.readline().split()]


def gone(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    with open(f"/proc/{pid}/stat") as stat:  # noqa: PTH123  (gone between the two is gone)
        return stat.read().rpartition(")")[2].split()[0] == "Z"


def all_gone_soon(pids):
    for _ in range(1200):
        if all(map(gone, pids)):
            return True
        time.sleep(0.05)
    return False


def test_ctrl_c_ends_everything_without_a_word(tmp_path):
    run, pids = long_run(tmp_path)
    os.killpg(run.pid, signal.SIGINT)  # as a terminal sends it: to all of them
    _, said = run.communicate(timeout=120)
    assert run.returncode == 130
    assert said == ""
    assert all_gone_soon(pids)


def test_workers_end_when_their_parent_is_killed(tmp_path):
    run, pids = long_run(tmp_path)
    os.kill(run.pid, signal.SIGKILL)
    run.communicate(timeout=120)
    assert pids
    assert all_gone_soon(pids)


#: Two processes print until they are told to end in some way.
PRINTS = """
import sys
from kilnfolio.paper.printing import pdf_of
from kilnfolio.runtime.workers import Workers

if __name__ == "__main__":
    with Workers(2, preload=["kilnfolio.paper.printing"]) as pool:
        tasks = [pool.submit(pdf_of, "<html lang=en><title>x</title>", "record.css") for _ in range(4)]
        [task.result() for task in tasks]
        print(pdf_of("<html lang=en><title>y</title>", "record.css")[0][:4], flush=True)
        if sys.argv[1] == "fails":
            raise ValueError
        while sys.argv[1] != "ends":
            pool.submit(pdf_of, "<html lang=en><title>x</title>", "record.css").result()
"""


@pytest.mark.parametrize("end", ["ends", "fails", "SIGINT", "SIGKILL"])
def test_no_temporary_file_outlives_a_run(tmp_path, end):
    """Neither typefaces, unpacked by WeasyPrint in each process, nor the fork server's socket."""
    (tmp_path / "prints.py").write_text(PRINTS)
    folder = tmp_path / "t"  # a short name: a socket's path has no more than 108 bytes
    folder.mkdir()
    run = subprocess.Popen(
        [sys.executable, tmp_path / "prints.py", end],
        env={**os.environ, "TMPDIR": str(folder)},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert "%PDF" in run.stdout.readline()
    assert any(folder.iterdir()), "nothing was there to be left behind"
    if end == "SIGKILL":
        run.kill()
    elif end == "SIGINT":
        os.killpg(run.pid, signal.SIGINT)
    run.communicate(timeout=120)
    for _ in range(600 if end == "SIGKILL" else 1):  # the fork server tidies up a little later
        if not any(folder.iterdir()):
            break
        time.sleep(0.05)
    assert [path.name for path in folder.iterdir()] == []


#: The fork server ends when somebody connects and goes away again; the work goes on.
WITHOUT_SERVER = """
import os, socket
from multiprocessing import forkserver
from kilnfolio.runtime.workers import Workers

if __name__ == "__main__":
    for turn in range(2):
        with Workers(1) as pool:
            print(pool.submit(len, "abc").result())
        server = forkserver._forkserver
        if turn == 0:
            with socket.socket(socket.AF_UNIX) as visitor:
                visitor.connect(server._forkserver_address)
            os.waitid(os.P_PID, server._forkserver_pid, os.WEXITED | os.WNOWAIT)
"""


def test_another_fork_server_takes_over(tmp_path):
    """One that ended too soon used to take the parent's folder of temporary files with it."""
    (tmp_path / "run.py").write_text(WITHOUT_SERVER)
    folder = tmp_path / "t"
    folder.mkdir()
    run = subprocess.run(
        [sys.executable, tmp_path / "run.py"],
        env={**os.environ, "TMPDIR": str(folder)},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert (run.stdout, run.stderr) == ("3\n3\n", "")
    assert list(folder.iterdir()) == []


def test_a_build_told_to_end_leaves_nothing_behind(tmp_path):
    """`kill`, and systemd, send SIGTERM; a build with one process prints in that process."""
    root, folder = minimal_mill(tmp_path / "mill"), tmp_path / "t"
    folder.mkdir()
    build = subprocess.Popen(
        [sys.executable, "-m", "kilnfolio", "build", root, "--workers", "1"],
        env={**os.environ, "TMPDIR": str(folder)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not any(folder.rglob("typefaces-*/*")):
        assert build.poll() is None, "it ended before it printed"
        time.sleep(0.01)
    build.terminate()
    _, said = build.communicate(timeout=120)
    assert build.returncode == 143
    assert "Traceback" not in said
    assert [path.name for path in folder.iterdir()] == []
    assert not (root / "site/mill").exists()


def test_ctrl_c_while_the_fork_server_starts_is_not_lost(monkeypatch):
    """It ends the command as soon as the server runs."""
    monkeypatch.setattr(
        "multiprocessing.forkserver.ensure_running", lambda: os.kill(os.getpid(), signal.SIGINT)
    )
    # a shell starts what it runs in the background with SIGINT ignored
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            _start_fork_server()
    finally:
        signal.signal(signal.SIGINT, before)
