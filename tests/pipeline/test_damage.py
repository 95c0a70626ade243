"""The next build notices and repairs a store or site that somebody damaged or changed."""

import fcntl
import os
import shutil
import sqlite3
from importlib import resources
from pathlib import Path

import pytest
from jinja2 import Environment, FileSystemBytecodeCache, FileSystemLoader
from tests.conftest import WHOLE
from tests.pipeline.test_changes import build, bytes_of, copied, two_charges

from kilnfolio.cli import main
from kilnfolio.graph.states import STAGING
from kilnfolio.graph.store import Store
from kilnfolio.pipeline.built import EDITIONS
from kilnfolio.rendering import compiled

STORE = f"{STAGING}/store.sqlite"


@pytest.fixture
def mill(built, tmp_path):
    """A copy in which the site's hard links are kept."""
    return copied(built, tmp_path / "mill")


def change(mill):
    charge = mill / "content/charges/2026/C1/charge.yaml"
    charge.write_text(charge.read_text() + "notes: a word more\n")


@pytest.fixture(scope="module")
def clean(built, tmp_path_factory):
    """Return the site of the changed mill, built from nothing."""
    root = tmp_path_factory.mktemp("clean") / "mill"
    shutil.copytree(built, root, ignore=shutil.ignore_patterns("site"))
    change(root)
    build(root)
    return bytes_of(root / "site")


def sql(*statements):
    def damage(store):
        with sqlite3.connect(store) as db:
            for statement in statements:
                db.execute(statement)
        db.close()

    return damage


def overwritten(at, data):
    def damage(store):
        raw = bytearray(store.read_bytes())
        raw[at : at + len(data)] = data
        store.write_bytes(raw)

    return damage


def of_pickles(store):
    """Replace every value with a pickle, as older versions kept, that would run code."""
    import pickle
    import zlib

    class Runs:
        def __reduce__(self):
            return os.mkdir, (str(store.parent / "ran"),)

    with sqlite3.connect(store) as db:
        evil = zlib.compress(pickle.dumps(Runs()))
        db.execute("UPDATE note SET value = ?", (evil,))
        db.execute("UPDATE cell SET value = ?", (evil,))
    db.close()


def as_folder(store):
    store.unlink()
    store.mkdir()


def as_pipe(path):
    path.unlink()
    os.mkfifo(path)


STORES = {
    "empty": lambda store: store.write_bytes(b""),
    "of text": lambda store: store.write_bytes(b"what somebody saved over it\n" * 999),
    "cut short": lambda store: os.truncate(store, 5_000),
    "cut in the middle": lambda store: os.truncate(store, store.stat().st_size // 2),
    "without its first page": overwritten(0, bytes(4096)),
    "with a broken page": overwritten(8192, bytes(range(256)) * 64),
    "without a table": sql("DROP TABLE cell"),
    "without a column": sql("ALTER TABLE file RENAME COLUMN stamp TO other"),
    "without its notes": sql("DELETE FROM note WHERE name != 'staged'"),
    "without its tasks": sql("DELETE FROM task"),
    "with notes of nonsense": sql("UPDATE note SET value = x'00'"),
    "with values of nonsense": sql("UPDATE cell SET value = x'00'"),
    "with values that are text": sql("UPDATE cell SET value = 'text'"),
    "of pickles": of_pickles,
    "of another version": sql("PRAGMA user_version = 99"),
    "a folder": as_folder,
    "a pipe": as_pipe,
    "gone": lambda store: store.unlink(),
}


@pytest.mark.parametrize("name", list(STORES)[:: 1 if WHOLE else 4])
def test_a_damaged_store_is_rebuilt_with_one_message(mill, clean, capsys, name):
    for extra in (mill / "site" / STAGING).glob("store.sqlite-*"):
        extra.unlink()
    STORES[name](mill / "site" / STORE)
    change(mill)
    capsys.readouterr()
    assert main(["build", str(mill), "--without-pdf", "--workers", "1"]) == 0
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert said.count("so everything was made again") <= 1
    assert not (mill / "site" / STAGING / "ran").exists()
    now = bytes_of(mill / "site")
    assert b"a word more" in now["mill/charges/C1.html"]
    assert now == clean


def test_no_template_is_run_that_lies_in_the_site(mill, monkeypatch, tmp_path):
    """Compiled templates are code: one that somebody left there ran with the next build."""
    monkeypatch.setattr(compiled, "_COMPILED", {})
    folder = mill / "site" / STAGING / "templates"
    folder.mkdir(exist_ok=True)
    home = Path(str(resources.files("kilnfolio.site") / "templates"))
    env = Environment(loader=FileSystemLoader(str(home)))
    kept = FileSystemBytecodeCache(str(folder))
    for path in home.glob("*.html"):
        source, *_ = env.loader.get_source(env, path.name)
        bucket = kept.get_bucket(env, path.name, str(path), source)
        bucket.code = compile(f"open({str(tmp_path / 'ran')!r}, 'w')", path.name, "exec")
        kept.set_bucket(bucket)
    change(mill)
    build(mill)
    assert not (tmp_path / "ran").exists()


def test_a_file_in_place_of_the_staging_folder_is_removed(mill):
    staging = mill / "site" / STAGING
    shutil.rmtree(staging)
    staging.write_text("a file where a folder was")
    assert main(["build", str(mill), "--without-pdf", "--workers", "1"]) == 0
    assert staging.is_dir()


# --- the site -------------------------------------------------------------------------------------


def customer_page(mill):
    return next((mill / "site/customer").glob("*/index.html"))


def in_place(path):
    """Change a page as does an editor that writes into the file, which staging shares."""
    with path.open("r+b") as file:
        text = file.read().replace(b"12", b"11", 1)
        file.seek(0)
        file.write(text)


def in_place_and_back_dated(path):
    state = path.stat()
    in_place(path)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def by_another(path):
    """Change a page as does an editor that replaces the file with a new one."""
    data = path.read_bytes().replace(b"12", b"11", 1)
    path.unlink()
    path.write_bytes(data)


def by_a_link(path):
    path.rename(path.with_name("kept"))
    path.symlink_to("kept")


def in_staging(path):
    site = path.parents[2]
    staged = site / STAGING / path.relative_to(site)
    staged.unlink()
    staged.write_bytes(b"forged, for when it is served")


DAMAGE = {
    "deleted": lambda path: path.unlink(),
    "emptied": lambda path: path.write_bytes(b""),
    "changed in place": in_place,
    "changed in place and back-dated": in_place_and_back_dated,
    "replaced": by_another,
    "a link": by_a_link,
    "changed in staging": in_staging,
    "a pipe": as_pipe,
}


@pytest.mark.parametrize("name", DAMAGE)
def test_a_page_that_was_changed_after_the_build_is_made_again(mill, capsys, name):
    sound = bytes_of(mill / "site")
    page = customer_page(mill)
    DAMAGE[name](page)
    assert main(["build", str(mill), "--without-pdf", "--workers", "1"]) == 0
    said = capsys.readouterr().err
    assert page.relative_to(mill / "site").as_posix() in said
    assert ("were gone from the site" if name == "deleted" else "find out who writes into") in said
    now = bytes_of(mill / "site")
    now.pop(f"customer/{page.parent.name}/kept", None)
    assert now == sound
    for edition in EDITIONS:
        for path in (mill / "site" / edition).rglob("*"):
            if path.is_file() and path.name != "kept":
                staged = mill / "site" / STAGING / path.relative_to(mill / "site")
                assert staged.read_bytes() == path.read_bytes()
    report = build(mill)
    assert report.made == 0
    assert not [one for one in report.warnings if "made again" in one]


def test_a_file_that_no_build_wrote_is_reported_and_left(mill):
    (mill / "site/customer/evil.html").write_text("<script>")
    (told,) = build(mill).warnings
    assert "customer/evil.html" in told
    assert "no build wrote them" in told
    assert (mill / "site/customer/evil.html").exists()


def test_files_that_were_only_touched_are_left(mill):
    page = customer_page(mill)
    page.touch()
    page.chmod(0o640)
    place = page.stat().st_ino
    report = build(mill)
    assert (report.made, report.warnings) == (0, [])
    assert page.stat().st_ino == place


def test_everybody_can_read_the_customers_pages_whatever_the_umask(tmp_path):
    umask = os.umask(0o077)
    try:
        root = two_charges(tmp_path / "mill")
        build(root)
    finally:
        os.umask(umask)
    modes = {oct(path.stat().st_mode & 0o777) for path in (root / "site/customer").rglob("*")}
    assert modes == {"0o644", "0o755"}
    assert (root / "site/customer").stat().st_mode & 0o777 == 0o755
    assert {path.stat().st_mode & 0o077 for path in (root / "site/mill").rglob("*")} == {0}


def test_a_second_build_at_the_same_time_is_refused_and_changes_nothing(mill, capsys):
    change(mill)
    before = bytes_of(mill / "site")
    held = os.open(mill / "site", os.O_RDONLY)
    fcntl.flock(held, fcntl.LOCK_EX)
    try:
        assert main(["build", str(mill), "--without-pdf", "--workers", "1"]) == 2
        assert "another build is writing" in capsys.readouterr().err
    finally:
        os.close(held)
    assert bytes_of(mill / "site") == before
    assert build(mill).made


def test_a_build_with_nothing_to_do_reads_no_page(mill, monkeypatch):
    read = []
    monkeypatch.setattr(Store, "file_digest", lambda _, path: read.append(path))
    assert build(mill).made == 0
    assert read == []
