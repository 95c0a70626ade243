"""The demonstration mill, built whole: what its readers open."""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pikepdf
import pytest
import zxingcpp
from PIL import Image
from tests.browser.nu import check_html
from tests.conftest import PRINTED_LOTS, PROJECT, WHOLE
from tests.given import given
from tests.pdf_reading import read_pages
from tests.site_reading import Reading, dead_links, has_lone_celsius, read_edition

from kilnfolio.pipeline.build import build_site
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.site.static import VERIFIER

EDITIONS = ("mill", "customer", "auditor")


@pytest.fixture(scope="module")
def pages(demo_site: Path) -> dict[str, dict[Path, Reading]]:
    return {edition: read_edition((demo_site / edition).resolve()) for edition in EDITIONS}


@pytest.mark.parametrize("edition", EDITIONS)
def test_every_link_and_anchor_resolves_within_its_edition(demo_site, pages, edition):
    root = (demo_site / edition).resolve()
    assert len(pages[edition]) > 10
    # a lot's page of the mill shows the address of the customer's page, as its label does
    address = re.search(
        r"^records_address: (\S+)$", (PROJECT / "content/mill.yaml").read_text(), re.MULTILINE
    )[1]
    published = (address, (demo_site / "customer").resolve()) if edition == "mill" else None
    assert dead_links(root, pages[edition], published) == []


@pytest.mark.parametrize("edition", EDITIONS)
def test_no_page_repeats_an_id(pages, edition):
    assert {
        path.name: reading.repeated for path, reading in pages[edition].items() if reading.repeated
    } == {}


def some_pages(edition: str, top: Path, pages: list[Path]) -> list[Path]:
    """Return the largest and the smallest page of each folder, and every page at the top."""
    # each lot of the customer edition has a folder of its own
    folders: dict[str, list[Path]] = {}
    for path in sorted(pages, key=lambda path: path.stat().st_size):
        inside = path.relative_to(top).parts[:-1]
        folders.setdefault("" if edition == "customer" else "/".join(inside), []).append(path)
    ends = [path for one in folders.values() for path in (one[0], one[-1])]
    return ends + [path for path in pages if path.parent == top]


def test_html_is_valid(demo_site, pages):
    """By default the largest and the smallest page of each folder; KILNFOLIO_WHOLE=1 for all."""
    checked = []
    for edition in EDITIONS:
        found = list(pages[edition])
        checked += found if WHOLE else some_pages(edition, (demo_site / edition).resolve(), found)
    assert check_html(dict.fromkeys(checked)) == []


@pytest.mark.parametrize("edition", EDITIONS)
def test_safety_wording_and_invention_stand_on_every_page(pages, edition):
    wording = " ".join(SAFETY.split())
    for path, reading in pages[edition].items():
        assert wording in reading.text, path
        # the page that checks bags is the same at every mill
        assert "invented" in reading.text or path.name == VERIFIER, path


def test_a_customers_page_comes_quickly_over_a_telephone(demo_site):
    """Everything before the fonts, which nobody waits for: page, chart, style sheet, scripts.

    The room of the reader's own fetches its scripts when it is opened.
    """
    lots = sorted((demo_site / "customer").glob("*/index.html"))
    assert len(lots) > 20
    for page in lots:
        html = page.read_text("utf-8")
        needed = re.findall(r'<(?:link rel="stylesheet" href|script src)="([^"]+)"', html)
        assert len(needed) >= 2
        total = page.stat().st_size + sum((page.parent / path).stat().st_size for path in needed)
        assert total < 60_000, page
        for part in needed:
            assert "@import" not in (page.parent / part).read_text("utf-8")


def test_style_sheets_and_scripts_ask_nobody_else(demo_site):
    for path in sorted(demo_site.rglob("*")):
        if path.suffix in (".css", ".js", ".svg"):
            text = path.read_text("utf-8")
            # a namespace or a licence line is a name, not a request
            asked = re.findall(r"""(?:url\(|@import|fetch\(|src=)\s*["']?(https?:|//)""", text)
            assert not asked, path


def pages_of(path: Path) -> tuple[str, ...]:
    """Return the words of each page of a PDF, read back by an independent library."""
    return tuple(page.text for page in read_pages(path))


def test_every_pdf_carries_the_safety_wording_and_our_fonts_only(demo_site):
    paths = sorted(path for edition in EDITIONS for path in (demo_site / edition).rglob("*.pdf"))
    assert len(paths) >= 10
    for path in paths:
        text = " ".join(" ".join(pages_of(path)).split())
        assert "Do not enter a kiln on the strength of this record" in text, path
        with pikepdf.open(path) as pdf:
            fonts = {
                str(font.BaseFont).partition("+")[2]
                for page in pdf.pages
                for font in page.Resources.Font.as_dict().values()
            }
        assert fonts, path
        assert all(name.startswith(("Literata", "Folio")) for name in fonts), (path, fonts)


def test_each_lot_record_is_one_page_naming_its_lot(demo_site):
    records = sorted((demo_site / "customer").rglob("record.pdf"))
    lots = {path.stem for path in (PROJECT / "content/lots").glob("*.yaml")}
    if len(records) < len(lots):
        assert not WHOLE
        lots = set(PRINTED_LOTS)
    assert len(records) == len(lots)
    named = set()
    for path in records:
        assert len(pages_of(path)) == 1, path
        named |= {lot for lot in lots if lot in pages_of(path)[0]}
    assert named == lots


def qr_of(browser, path: Path, tmp_path: Path) -> str:
    """Return what an independent decoder reads from the code on a page."""
    page = browser.new_page(viewport={"width": 1000, "height": 1200}, device_scale_factor=2)
    page.goto(path.as_uri())
    picture = tmp_path / "qr.png"
    page.locator(".qr").first.screenshot(path=picture)
    page.close()
    codes = zxingcpp.read_barcodes(Image.open(picture))
    assert len(codes) == 1, path
    return codes[0].text


def test_customer_pages_are_small_and_ask_robots_to_stay_out(demo_site, pages):
    for path in pages["customer"]:
        assert path.stat().st_size < 60_000, path
        assert re.search(r'<meta name="robots" content="noindex', path.read_text("utf-8")), path
    assert not (demo_site / "customer/index.html").exists()


def digests(root: Path) -> dict[str, str]:
    return {
        path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for edition in EDITIONS
        for path in sorted((root / edition).rglob("*"))
        if path.is_file()
    }


def test_a_copy_of_the_mill_on_another_computer_makes_the_same_bytes(request, tmp_path):
    """Another mill folder, site folder, time zone, locale, hash seed, umask and worker count.

    By default of a small mill without PDFs; KILNFOLIO_WHOLE=1 makes the whole demonstration.
    """
    environment = {
        **os.environ,
        "PYTHONHASHSEED": "7",
        "TZ": "Pacific/Auckland",
        "LC_ALL": "C",
        "PYTHONPATH": str(PROJECT / "builder"),
    }
    mill, out = tmp_path / "a mill, copied", tmp_path / "elsewhere"
    root = PROJECT if WHOLE else request.getfixturevalue("amended_site")
    for tree in ("content", "schedules", *([] if WHOLE else ["keys"])):
        shutil.copytree(root / tree, mill / tree)
    if WHOLE:
        ours, options = request.getfixturevalue("demo_site"), []
    else:
        ours, options = tmp_path / "here", ["--without-pdf"]
        build_site(root, ours, pdfs=False)
    run = subprocess.run(
        [
            sys.executable,
            "-m",
            "kilnfolio",
            "build",
            mill,
            "--out",
            out,
            "--workers",
            "3",
            *options,
        ],
        cwd=tmp_path,
        env=environment,
        umask=0o077,
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, run.stderr
    ours, theirs = digests(ours), digests(out)
    assert sorted(ours) == sorted(theirs)
    assert [name for name in ours if ours[name] != theirs[name]] == []


def test_check_prints_findings_for_a_person_and_for_a_program():
    words = given("check", PROJECT, "--all")
    assert words.returncode == 1, words.stderr  # the demonstration has planted faults
    assert re.search(r"content/charges/\d{4}/[\w-]+/charge\.yaml:\d+:\d+", words.stdout)
    # its region is North American: no °C without a °F before it
    lines = [" ".join(line.split()) for line in words.stdout.splitlines()]
    assert sum("°F (" in line for line in lines) > 20
    assert [line for line in lines if has_lone_celsius(line)] == []
    data = given("check", PROJECT, "--format", "json")
    assert data.returncode == 1
    findings = json.loads(data.stdout)["findings"]
    assert {finding["outcome"] for found in findings.values() for finding in found} >= {
        "pass",
        "question",
        "fail",
        "no data",
    }
