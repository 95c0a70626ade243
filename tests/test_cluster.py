"""The same work on a Dask cluster of two worker processes on this machine."""

import os
import signal
import time

import pytest
from distributed import LocalCluster
from distributed.security import Security

from kilnfolio.paper.printing import pdf_of
from kilnfolio.pipeline.build import EDITIONS, build_site
from kilnfolio.runtime import code_version
from kilnfolio.runtime.cluster import Cluster, WorkersDifferError, cluster
from kilnfolio.runtime.errors import WorkersUnreachableError


@pytest.fixture(scope="module")
def scheduler():
    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        dashboard_address="127.0.0.1:0",
        silence_logs=50,
    ) as local:
        yield Cluster(local.scheduler_address)


PAGES = [
    f"<html lang=en><title>Lot {n}</title><p>Lot {n}: 8.{n} % MC, 4/4 boards</html>"
    for n in range(6)
]


def test_a_cluster_prints_the_same_bytes_as_this_process(scheduler):
    with cluster(scheduler) as executor:
        tasks = [executor.submit(pdf_of, page, "record.css") for page in PAGES]
        there = [task.result(240) for task in tasks]
    assert there == [pdf_of(page, "record.css") for page in PAGES]


def test_a_worker_killed_in_mid_run_loses_nothing(scheduler):
    with cluster(scheduler) as executor:
        pids = {executor.submit(os.getpid).result(120) for _ in range(12)}
        slow = [executor.submit(time.sleep, 0.3) for _ in range(8)]
        tasks = [executor.submit(divmod, number, 7) for number in range(30)]
        os.kill(min(pids), signal.SIGKILL)
        assert [task.result(240) for task in tasks] == [divmod(number, 7) for number in range(30)]
        assert [task.result(240) for task in slow] == [None] * 8


def test_workers_with_other_code_are_refused(scheduler, monkeypatch):
    monkeypatch.setattr(code_version.Path, "read_bytes", lambda _: b"edited")
    with (
        pytest.raises(WorkersDifferError, match="install the same versions as here"),
        cluster(scheduler),
    ):
        pass


def test_a_build_on_a_cluster_writes_the_same_bytes(scheduler, amended_site, tmp_path):
    build_site(amended_site, tmp_path / "there", workers=2, cluster=scheduler)
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


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    """Return the files of an authority, a certificate and its key, as Dask makes them for tests."""
    folder, made = tmp_path_factory.mktemp("tls"), Security.temporary()
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
    authority, certificate, key = certificates
    known = Security(
        tls_ca_file=authority,
        tls_scheduler_cert=certificate,
        tls_scheduler_key=key,
        tls_worker_cert=certificate,
        tls_worker_key=key,
        tls_client_cert=certificate,
        tls_client_key=key,
        require_encryption=True,
    )
    with LocalCluster(
        n_workers=1,
        threads_per_worker=1,
        processes=False,
        dashboard_address="127.0.0.1:0",
        silence_logs=50,
        security=known,
    ) as local:
        address = local.scheduler_address
        assert address.startswith("tls://")
        with cluster(Cluster(address, certificates)) as executor:
            assert executor.submit(divmod, 30, 7).result(240) == (4, 2)
        other = Security.temporary()
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
