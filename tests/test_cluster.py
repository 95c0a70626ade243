"""The same work on a Dask cluster of two worker processes on this machine."""

import os
import signal
import time

import pytest
from distributed import LocalCluster
from tests.trust.yard import amended_mill

from kilnfolio.paper.printing import pdf_of
from kilnfolio.pipeline.build import EDITIONS, build_site
from kilnfolio.runtime import code_version
from kilnfolio.runtime.errors import WorkersUnreachableError
from kilnfolio.runtime.workers import WorkersDifferError, cluster


@pytest.fixture(scope="module")
def scheduler():
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
                      silence_logs=50) as local:
        yield local.scheduler_address


PAGES = [f"<html lang=en><title>Lot {n}</title><p>Lot {n}: 8.{n} % MC, 4/4 boards</html>"
         for n in range(6)]


def test_a_cluster_prints_the_same_bytes_as_this_process(scheduler):
    with cluster(scheduler) as executor:
        tasks = [executor.submit(pdf_of, page, "record.css") for page in PAGES]
        there = [task.result(60) for task in tasks]
    assert there == [pdf_of(page, "record.css") for page in PAGES]


def test_a_worker_killed_in_mid_run_loses_nothing(scheduler):
    with cluster(scheduler) as executor:
        pids = {executor.submit(os.getpid).result(30) for _ in range(12)}
        slow = [executor.submit(time.sleep, 0.3) for _ in range(8)]
        tasks = [executor.submit(divmod, number, 7) for number in range(30)]
        os.kill(min(pids), signal.SIGKILL)
        assert [task.result(60) for task in tasks] == [divmod(number, 7) for number in range(30)]
        assert [task.result(60) for task in slow] == [None] * 8


def test_workers_with_other_code_are_refused(scheduler, monkeypatch):
    monkeypatch.setattr(code_version.Path, "read_bytes", lambda _: b"edited")
    with pytest.raises(WorkersDifferError, match="install the same there as here"), \
            cluster(scheduler):
        pass


def test_a_build_on_a_cluster_writes_the_same_bytes(scheduler, tmp_path):
    root = amended_mill(tmp_path / "mill")
    build_site(root, tmp_path / "here", workers=2)
    build_site(root, tmp_path / "there", workers=2, cluster=scheduler)
    here, there = ({path.relative_to(out).as_posix(): path.read_bytes()
                    for edition in EDITIONS for path in (out / edition).rglob("*")
                    if path.is_file()} for out in (tmp_path / "here", tmp_path / "there"))
    assert [name for name in here if name.endswith(".pdf")]
    assert here == there


def test_a_cluster_that_does_not_answer_is_named(monkeypatch):
    def refuse(*_args, **_options):
        raise OSError("timed out")

    monkeypatch.setattr("distributed.Client", refuse)
    with pytest.raises(WorkersUnreachableError, match="no cluster answers at tcp://nowhere:1"), \
            cluster("tcp://nowhere:1"):
        pass
