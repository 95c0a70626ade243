"""The pocket edition: A5, what is carried to the kiln, and only what is approved."""

import re
from pathlib import Path

import pypdf
import pytest
from tests.pdf_reading import PdfPage, read_pages
from tests.reviewed import demo_mill

from kilnfolio.handbook.chapter import read_manuscript
from kilnfolio.paper.pocket import PATH
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering.safety import SAFETY

PROJECT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def folder() -> MillFolder:
    return demo_mill()


@pytest.fixture(scope="module")
def pages(demo_site: Path) -> tuple[PdfPage, ...]:
    return read_pages(demo_site / "mill" / PATH)


@pytest.fixture(scope="module")
def texts(pages: tuple[PdfPage, ...]) -> list[str]:
    return [" ".join(page.text.split()) for page in pages]


def test_it_is_a5_and_nothing_runs_off_its_pages(demo_site, pages):
    """ISO 216: A5 is 148 mm by 210 mm."""
    for page in pypdf.PdfReader(demo_site / "mill" / PATH).pages:
        sides = float(page.mediabox.width), float(page.mediabox.height)
        assert sides == pytest.approx((148 / 25.4 * 72, 210 / 25.4 * 72), abs=0.5)
    assert not any(page.outside for page in pages)
    assert len(pages) < 60  # it goes into a pocket


def test_every_page_has_the_safety_wording(texts):
    wording = "".join(SAFETY.split())  # lines break at its hyphens too
    assert not [n for n, text in enumerate(texts, 1) if wording not in text.replace(" ", "")]


def test_it_has_every_caution_and_names_who_authorizes(texts):
    said = re.sub(r"\u2010 ?", "", " ".join(texts))
    for caution in read_manuscript(PROJECT)[0].cautions.values():
        assert f"Caution: {caution.title}" in said
    assert said.count("Who authorizes:") >= 5


def test_approved_schedules_are_in_it_complete_and_drafts_are_not(folder, texts):
    said = re.sub(r"\u2010 ?", "", " ".join(texts))
    records = [located.record for located in folder.schedules.values()]
    assert any(record.approved is None for record in records)
    opened = " ".join(text for text in texts if "Revision" in text)
    for record in records:
        # with its revision line, since the contents name it too
        line = rf"{re.escape(record.title)} (?:(?!Revision).)*Revision {record.revision}, approved"
        assert bool(re.search(line, opened)) == (record.approved is not None), record.id
    assert "Contents" in said


def test_set_points_are_those_of_the_schedule(texts):
    """T4-D2, upland red oak 4/4 (from memory): begins at 110 °F and a depression of 4 °F."""
    page = next(text for text in texts if re.search(r"Upland red oak, 4/4.*Revision", text))
    steps = page[page.index("Upland red oak, 4/4") :].replace("\xa0", " ")
    first = re.search(r"1 above 50 % 110 °F 43\.3 °C 106 °F 41\.1 °C 4 °F 2\.2 K", steps)
    assert first, steps[:400]


def test_each_table_looked_up_at_the_kiln_is_in_it_once(texts):
    said = " ".join(texts[texts.index(next(t for t in texts if "Numbered as in" in t)) :])
    numbers = re.findall(r"Table (\d+\.\d+)\.", said)
    assert len(numbers) == len(set(numbers)) > 8
    assert "Wet-bulb depression" in said
    assert "below 30" in said  # the notation
