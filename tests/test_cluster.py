"""The same work on a Dask cluster of two worker processes on this machine."""

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager, nullcontext

import pytest

from kilnfolio.graph.away import AwayTeam
from kilnfolio.paper.printing import pdf_of
from kilnfolio.pipeline.build import build_site
from kilnfolio.pipeline.built import EDITIONS
from kilnfolio.pipeline.plan import PLAN
from kilnfolio.runtime import code_version, unpickling
from kilnfolio.runtime.cluster import WorkersDifferError, cluster
from kilnfolio.runtime.cluster_address import Cluster
from kilnfolio.runtime.errors import WorkersUnreachableError
from kilnfolio.runtime.workers import Workers


@contextmanager
def running(home, *, workers=2, tls=(), scheduler_loads="", worker_loads=""):
    """Run a scheduler and its workers in processes of their own, as on other machines.

    `scheduler_loads` and `worker_loads` are text that they run as Python before they begin.
    """
    home.mkdir()
    common = ["--host", "127.0.0.1", "--no-dashboard"]
    if tls:
        common += ["--tls-ca-file", tls[0], "--tls-cert", tls[1], "--tls-key", tls[2]]
    running = []

    def start(what, loads, *words):
        if loads:
            (home / f"{what}.py").write_text(loads)
            words = (*words, "--preload", home / f"{what}.py")
        with (home / f"{what}.log").open("ab") as log:
            command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *common, *words]
            running.append(
                subprocess.Popen(command, stdout=log, stderr=log, cwd=home, start_new_session=True)
            )

    protocol = "tls" if tls else "tcp"
    told = home / "scheduler.log"
    start("scheduler", scheduler_loads, "--port", "0", "--protocol", protocol)
    try:
        while not (found := [w for w in told.read_text().split() if w.startswith(f"{protocol}:")]):
            assert running[0].poll() is None, told.read_text()
            time.sleep(0.05)
        one = ("--nthreads", "1", "--no-nanny") if worker_loads else ("--nthreads", "1")
        for _ in range(workers):
            start("worker", worker_loads, found[0], *one)
        while told.read_text().count("Register worker") < workers:
            assert all(one.poll() is None for one in running), (home / "worker.log").read_text()
            time.sleep(0.05)
        yield found[0]
    finally:
        for process in running:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(60)


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    with running(tmp_path_factory.mktemp("cluster") / "c") as address:
        yield Cluster(address)


PAGES = [
    f"<html lang=en><title>Lot {n}</title><p>Lot {n}: 8.{n} % MC, 4/4 boards</html>"
    for n in range(6)
]


def test_a_cluster_prints_the_same_bytes_as_this_process(scheduler):
    with cluster(scheduler) as executor:
        tasks = [executor.submit(pdf_of, page, "record.css") for page in PAGES]
        there = [task.result(240) for task in tasks]
    assert there == [list(pdf_of(page, "record.css")) for page in PAGES]


def test_a_worker_killed_in_mid_run_loses_nothing(scheduler):
    with cluster(scheduler) as executor:
        pids = {executor.submit(os.getpid).result(120) for _ in range(12)}
        slow = [executor.submit(time.sleep, 0.3) for _ in range(8)]
        tasks = [executor.submit(divmod, number, 7) for number in range(30)]
        os.kill(min(pids), signal.SIGKILL)
        there = [task.result(240) for task in tasks]
        assert there == [list(divmod(number, 7)) for number in range(30)]
        assert [task.result(240) for task in slow] == [None] * 8


def test_a_task_that_kills_its_workers_and_one_that_fails_are_told_apart(scheduler):
    from distributed.core import Status

    # early releases of Python 3.11 pickle a member of an enumeration by a call of getattr, which
    # could run code: there Dask's report of a death is not read, and the message says so
    by_getattr = Status.closed.__reduce_ex__(4)[0] is getattr
    words = "names builtins.getattr.*Its own log says" if by_getattr else "gave up: KilledWorker"
    with cluster(scheduler) as executor:
        with pytest.raises(WorkersUnreachableError, match=words):
            executor.submit(os._exit, 1).result(240)
        with pytest.raises(Exception, match="ZeroDivisionError"):
            executor.submit(divmod, 1, 0).result(240)


#: Sends an object that, where it is unpickled, leaves the number of that process in a folder.
HOSTILE = """
import os, pickle
from pathlib import Path

class Hostile(Exception):
    def __reduce__(self):
        return eval, (f"__import__('pathlib').Path({str(Path.cwd())!r}, "
                      "f'ran-{__import__(\\"os\\").getpid()}').touch()",)
"""
#: Where a machine of the cluster may put it: what a worker returns, raises, or warns of, and what
#: the scheduler says of itself. Dask may load a file twice.
ON_THE_WORKER = """
import distributed.protocol.pickle
from distributed import get_worker
from kilnfolio.runtime import cluster
if not hasattr(cluster, "true"):
    cluster.true, dumps = cluster._packed, distributed.protocol.pickle.dumps
"""
WAYS = {
    "result": ("", "    cluster._packed = lambda *a, **k: Hostile()\n"),
    "error": (
        "",
        """
    cluster._packed = lambda f, *a: f(*a) / 0 if a else cluster.true(f)
    distributed.protocol.pickle.dumps = lambda x, **k: (
        pickle.dumps(Hostile()) if isinstance(x, TypeError) else dumps(x, **k)
    )
""",
    ),
    "warning": (
        "",
        """
    def warn(f, *a):
        if a:
            get_worker().log_event("warn", {"message": pickle.dumps(Hostile())})
        return cluster.true(f, *a)
    cluster._packed = warn
""",
    ),
    "scheduler": (
        """
from distributed.protocol.serialize import ToPickle
def dask_setup(scheduler):
    scheduler.handlers["identity"] = lambda **_: {"workers": ToPickle(Hostile())}
""",
        "",
    ),
}


@pytest.mark.parametrize("way", WAYS)
def test_no_machine_of_a_cluster_runs_anything_here(tmp_path, monkeypatch, capfd, way):
    """What Dask unpickles can name no function; without the guard, it would be called."""
    scheduler, worker = WAYS[way]
    scheduler = scheduler and HOSTILE + scheduler
    worker = worker and HOSTILE + ON_THE_WORKER + worker
    home = tmp_path / "c"

    def told(address):
        try:
            with cluster(Cluster(address)) as executor:
                executor.submit(divmod, 30, 7).result(60)
                time.sleep(2 if way == "warning" else 0)
        except Exception as error:
            return error
        return None

    with running(home, workers=1, scheduler_loads=scheduler, worker_loads=worker) as address:
        said = told(address)
        assert not (home / f"ran-{os.getpid()}").exists()
        assert "Traceback" not in capfd.readouterr().err
        monkeypatch.setattr(unpickling, "only_harmless_pickles", lambda: nullcontext([]))
        told(address)
        assert (home / f"ran-{os.getpid()}").exists()
    if way == "warning":  # which Dask reads and forgets: the task was done
        assert said is None
    else:
        assert isinstance(said, WorkersUnreachableError)
        assert "was not read: it names builtins.eval" in str(said)


def test_processes_of_this_machine_may_still_send_what_they_like(scheduler):
    with cluster(scheduler), Workers(2, preload=()) as pool:
        assert pool.submit(Cluster, "x").result(120) == Cluster("x")


def test_workers_with_other_code_are_refused(scheduler, monkeypatch):
    monkeypatch.setattr(code_version.Path, "read_bytes", lambda _: b"edited")
    with (
        pytest.raises(WorkersDifferError, match="install the same versions as here"),
        cluster(scheduler),
    ):
        pass


def test_a_build_on_a_cluster_writes_the_same_bytes(scheduler, amended_site, tmp_path, monkeypatch):
    """Its workers read, review and make pages as well as print."""
    checked, made = AwayTeam._result, set()

    def note(team, one, asked):
        made.add(one["value"])
        return checked(team, one, asked)

    monkeypatch.setattr(AwayTeam, "_result", note)
    for least in ("_WORTH_STARTING", "_WORTH_SHARING"):  # the mill is small
        monkeypatch.setattr(f"kilnfolio.graph.run.{least}", 0.0)
    build_site(amended_site, tmp_path / "there", workers=1, cluster=scheduler)
    at_home = {name for name, value in PLAN.values.items() if value.at_home or value.jobs}
    assert {"charge", "dossier", "lot view", "customer page", "mill charge"} <= made
    assert not made & at_home
    here, there = (
        {
            path.relative_to(out).as_posix(): path.read_bytes()
            for edition in EDITIONS
            for path in (out / edition).rglob("*")
            if path.is_file()
        }
        for out in (amended_site / "site", tmp_path / "there")
    )
    assert [name for name in here if name.endswith(".pdf")]
    assert here == there


def test_a_cluster_that_does_not_answer_is_named(monkeypatch):
    def refuse(*_args, **_options):
        raise OSError("timed out")

    monkeypatch.setattr("distributed.Client", refuse)
    with (
        pytest.raises(WorkersUnreachableError, match="no cluster answers at tcp://nowhere:1"),
        cluster(Cluster("tcp://nowhere:1")),
    ):
        pass


def made_for_tests():
    """Return an authority, a certificate and its key; Dask takes a fifth of a second to load."""
    from distributed.security import Security

    return Security.temporary()


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    """Return the files of an authority, a certificate and its key, as Dask makes them for tests."""
    folder, made = tmp_path_factory.mktemp("tls"), made_for_tests()
    files = []
    for name, text in (
        ("ca", made.tls_ca_file),
        ("certificate", made.tls_client_cert),
        ("key", made.tls_client_key),
    ):
        (folder / f"{name}.pem").write_text(text)
        files.append(str(folder / f"{name}.pem"))
    return tuple(files)


def test_a_cluster_over_tls_takes_only_those_it_knows(certificates, tmp_path):
    with running(tmp_path / "c", workers=1, tls=certificates) as address:
        assert address.startswith("tls://")
        with cluster(Cluster(address, certificates)) as executor:
            assert executor.submit(divmod, 30, 7).result(240) == [4, 2]
        other = made_for_tests()
        strange = [tmp_path / name for name in ("ca", "certificate", "key")]
        for path, text in zip(
            strange, (other.tls_ca_file, other.tls_client_cert, other.tls_client_key), strict=True
        ):
            path.write_text(text)
        with (
            pytest.raises(WorkersUnreachableError, match="no cluster answers"),
            cluster(Cluster(address, tuple(map(str, strange)))),
        ):
            pass
        with pytest.raises(WorkersUnreachableError, match="go together"), cluster(Cluster(address)):
            pass


@pytest.mark.parametrize(
    ("address", "tls", "said"),
    [
        ("tcp://10.0.0.5:8786", ("a", "b", "c"), "go together"),
        ("tls://10.0.0.5:8786", ("a", "b", "c"), "a: there is no such file"),
    ],
)
def test_files_that_do_not_fit_are_named_before_anybody_is_asked(address, tls, said):
    with pytest.raises(WorkersUnreachableError, match=said), cluster(Cluster(address, tls)):
        pass


@pytest.mark.parametrize(
    ("address", "tls", "warned"),
    [
        ("tcp://10.0.0.5:8786", (), True),
        ("tcp://127.0.0.1:8786", (), False),
        ("tls://10.0.0.5:8786", ("a", "b", "c"), False),
        ("", (), False),
    ],
)
def test_a_cluster_that_anybody_could_join_is_warned_of(address, tls, warned):
    assert Cluster(address, tls).open_to_all is warned
