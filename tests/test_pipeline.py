"""Building: whole or not at all."""

import os
import signal
import subprocess
import sys
import time

import pytest
from tests.conftest import PROJECT, WHOLE
from tests.minimal import minimal_mill
from tests.site_reading import dead_links, read_edition
from tests.trust.sealing import amended_mill

from kilnfolio.pipeline.build import build_site
from kilnfolio.pipeline.built import EDITIONS
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.problems import RecordProblems
from kilnfolio.rendering.templating import environment, render
from kilnfolio.runtime.errors import PublicationRefusedError


def served(out):
    """Return the files of the editions; what is kept beside them is no part of the site."""
    return sorted(
        path.relative_to(out).as_posix()
        for edition in EDITIONS
        for path in (out / edition).rglob("*")
        if path.is_file()
    )


def test_problems_leave_the_old_site_as_it_was(tmp_path):
    root = minimal_mill(tmp_path)
    out = tmp_path / "site"
    (out / "mill").mkdir(parents=True)
    (out / "mill/index.html").write_text("the old site")
    mill = root / "content/mill.yaml"
    mill.write_text(mill.read_text().replace("altitude:", "altitud:"))
    with pytest.raises(RecordProblems, match="Did you mean 'altitude'"):
        build_site(root, out)
    assert served(out) == ["mill/index.html"]


@pytest.mark.parametrize("after", [0.3, 1.0, 2.0, 3.0, 4.0] if WHOLE else [0.3, 2.0])
def test_a_killed_build_leaves_the_old_site_whole(tmp_path, after):
    out = tmp_path / "site"
    (out / "mill").mkdir(parents=True)
    (out / "mill/index.html").write_text("the old site")
    build = subprocess.Popen(
        [sys.executable, "-m", "kilnfolio", "build", str(PROJECT), "--out", out],
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        # a run in the background of a shell ignores Ctrl-C, and so would its children
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    time.sleep(after)
    os.killpg(build.pid, signal.SIGKILL)
    build.wait()
    assert (out / "mill/index.html").read_text() == "the old site"


#: Seconds after its processes have begun with the pages.
#: Interrupted once so many pages have been made.
MOMENTS = [0, 60, 20]


@pytest.mark.parametrize("pages", MOMENTS if WHOLE else MOMENTS[:2])
def test_ctrl_c_stops_a_build_cleanly(tmp_path, pages):
    out = tmp_path / "site"
    (out / "mill").mkdir(parents=True)
    (out / "mill/index.html").write_text("the old site")
    build = subprocess.Popen(
        [sys.executable, "-m", "kilnfolio", "build", minimal_mill(tmp_path), "--out", out],
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # a run in the background of a shell ignores Ctrl-C, and so would its children
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert any("pages: 0" in line for line in build.stderr)
    while len(list(out.glob(".staging/*/**/*.html"))) < pages:
        assert build.poll() is None, build.stderr.read()
        time.sleep(0.002)
    os.killpg(build.pid, signal.SIGINT)  # as a terminal sends it: to all its processes
    said = build.communicate(timeout=120)[1]
    assert build.returncode == 130, said
    assert "Traceback" not in said
    assert said.splitlines()[-1] == "kilnfolio: stopped; the site is as it was"
    assert (out / "mill/index.html").read_text() == "the old site"


def test_ctrl_c_while_code_is_made_from_text_ends_the_same_way(tmp_path):
    """Dataclasses run text as code while modules load; Python 3.11 remembers an interrupt there."""
    (tmp_path / "interrupted.py").write_text(
        "import kilnfolio.cli\n"
        "kilnfolio.cli._run = lambda words: exec('raise KeyboardInterrupt')\n"
        "kilnfolio.cli.run()\n"
    )
    ended = subprocess.run([sys.executable, "-m", "interrupted"], cwd=tmp_path, check=False)
    assert ended.returncode == 130


def test_a_page_without_the_safety_wording_is_not_published(tmp_path, monkeypatch):
    root = minimal_mill(tmp_path)
    monkeypatch.setattr("kilnfolio.pipeline.build.SAFETY", "Words that no template prints.")
    with pytest.raises(PublicationRefusedError, match=r"Safety wording missing: mill/index\.html"):
        build_site(root, tmp_path / "site", pdfs=False)
    assert served(tmp_path / "site") == []


def test_a_site_without_pdfs_leads_to_none(tmp_path):
    """With sealed and amended records: every page that could lead to one of their PDFs is there."""
    root, out = amended_mill(tmp_path), tmp_path / "site"
    report = build_site(root, out, pdfs=False)
    assert report.pdfs == 0
    assert not list(out.rglob("*.pdf"))
    for edition in EDITIONS:
        pages = read_edition((out / edition).resolve())
        assert pages
        assert not [link for page in pages.values() for link in page.links if ".pdf" in link]
        if edition != "mill":  # the small mill has no handbook for its pages to lead to
            assert dead_links((out / edition).resolve(), pages) == []


def test_the_contents_lead_to_the_book_only_where_it_is_printed(tmp_path):
    mill = checked_mill(minimal_mill(tmp_path)).mill.record
    for pdfs in (True, False):
        page = render(
            environment(mill, pdfs=pdfs),
            "handbook/contents.html",
            "handbook/index.html",
            title="Handbook",
            chapters=[],
            languages=(),
        )
        assert ("handbook.pdf" in page, "practice-key.pdf" in page) == (pdfs, pdfs)


def test_a_command_in_a_folder_that_is_no_mill_says_so(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "kilnfolio", "check"], cwd=tmp_path, capture_output=True, text=True
    )
    assert run.returncode == 2
    assert "this is not a mill's folder" in run.stderr
    assert "Traceback" not in run.stderr
