"""What leaves the mill: the statement and its evidence, nothing else."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import re
import subprocess
from typing import Any

import pytest
import zxingcpp
from PIL import Image
from pydantic import BaseModel
from pypdf import PdfReader
from tests.site.site import Mill, Outline, packs, small_mill, with_words

from kilnfolio.paper.lot_pdf import lot_pdf
from kilnfolio.records.model import Located
from kilnfolio.records.quantities import Quantity
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.templating import environment
from kilnfolio.site.editions import CUSTOMER_FIELDS, NotPublishedError, for_customer
from kilnfolio.site.pages.customer import customer_lot


@pytest.fixture(scope="module")
def mill(tmp_path_factory) -> Mill:
    return small_mill(
        tmp_path_factory.mktemp("mill"),
        lot={
            "customer": {"name": "Cabinet Works"},
            "claim": "FSC 100%",
            "order": {
                "target_mc": "12 %",
                "rule": "band",
                "lowest": "10 %",
                "highest": "14 %",
                "share": "90 %",
                "stress": "sections within 1/8 in",
            },
        },
    )


@pytest.fixture(scope="module")
def page(mill):
    return mill.customer()[0]


def pdf_of(mill: Mill) -> bytes:
    view = customer_lot(mill.folder, "L1", mill.dossiers, mill.lots["L1"], mill.tokens["L1"])
    pdf, warnings = lot_pdf(environment(mill.folder.mill.record, menu=()), view)
    assert not warnings
    return pdf


def pdf_words(pdf: bytes) -> str:
    reader = PdfReader(io.BytesIO(pdf))
    about = " ".join(str(value) for value in (reader.metadata or {}).values())
    words = " ".join([*(page.extract_text() for page in reader.pages), about])
    return " ".join(words.replace("\u00a0", " ").replace("\u202f", " ").split())


# --- the customer's answer ----------------------------------------------------


def test_statement_and_facts_are_in_the_order_readers_need(mill, page):
    text = Outline(page.html).text.replace("\u00a0", " ")
    order = [
        "Lot L1",
        "Meets the order",
        "mean moisture content",
        "ordered: 12 %",
        "7 June 2026: 12 boards measured, 11.5 to 12.6 %",
        "What to do",
        "Northern red oak",
        mill.lots["L1"].judgement.sentence,
        "resistance meter",
        "sections within 1/8 in; not supported by the mill's record",
        "FSC 100%",
        "MC changes after the date of measurement",
        "office@mill.example",
        "Version 1",
    ]
    places = [text.index(words) for words in order]
    assert places[:8] == sorted(places[:8])
    assert places[-3:] == sorted(places[-3:])


def test_page_asks_robots_to_stay_out_and_is_small(page):
    assert '<meta name="robots" content="noindex' in page.html
    assert len(page.html.encode()) < 60_000
    assert SAFETY in page.html


def test_page_links_to_no_other_page(page):
    inner = [link for link in Outline(page.html).links if not link.startswith(("mailto:", "#"))]
    assert sorted(set(inner)) == [
        "../assets/fonts.js",
        "../assets/icon.svg",
        "../assets/label.js",
        "../assets/opens.js",
        "../assets/site.css",
        "record.json",  # and record.pdf, if a build has printed it
    ]


def test_storage_advice_is_the_air_in_equilibrium_with_the_wood(page):
    """Wood Handbook table 4-2: 12 % EMC at 21.1 °C (70 °F) and 65 % RH."""
    assert re.search(r"about 6[45]\s*% relative humidity", Outline(page.html).text)


def test_forbidden_words_do_not_appear(mill, page):
    for text in (page.html, pdf_words(pdf_of(mill))):
        assert not re.search(r"guarantee|Cabinet Works|red-oak-4-4|set-point|A\. N\. Other", text)


def test_an_unassessed_lot_shows_no_numbers(tmp_path):
    """A section lighter than its oven-dry mass invalidates the moisture record of the charge."""

    def spoil(charge):
        charge["weighings"][3]["masses"]["S1"] = "1500 g"

    mill = small_mill(tmp_path, charge=spoil)
    assert mill.lots["L1"].judgement.met is None
    text = Outline(mill.customer()[0].html).text.replace("\u00a0", " ")
    assert "Not assessed" in text
    assert "shrinks" not in text, "movement was computed from the MC ordered"
    assert "12.1 %" not in text
    assert "<svg" in mill.customer()[0].html  # the code, and no chart
    assert "Readings" not in text


@pytest.mark.parametrize("treated", [None, False])
def test_a_heat_treatment_without_evidence_is_stated_as_not_supported(mill, treated):
    lots = {"L1": mill.lots["L1"].model_copy(update={"heat_treated": treated})}
    for heat in (True, False):
        html = _rendered(mill, lots, {"heat_treatment_stated": True}, heat=heat)
        assert "Not supported by the mill" in html
        assert "56" not in html.partition("Not supported")[2].partition("</dd>")[0]


def test_heat_treatment_statement_defers_to_the_mark(mill):
    lots = {"L1": mill.lots["L1"].model_copy(update={"heat_treated": True})}
    html = _rendered(mill, lots, {"heat_treatment_stated": True}, heat=True)
    assert "The official mark on the wood governs" in html
    assert "Heat treatment" not in _rendered(
        mill, lots, {"heat_treatment_stated": False}, heat=True
    )


def _rendered(mill: Mill, lots: dict, changes: dict, *, heat: bool) -> str:
    from kilnfolio.review.dossier import HeatRun

    run = HeatRun(
        channel="core-1",
        position="door",
        threshold_c=56.0,
        required_minutes=30.0,
        longest_minutes=44.0,
        start=None,
        end=None,
        highest_c=61.0,
        uncertainty_k=0.5,
    )
    dossiers = {"C1": mill.dossiers["C1"].model_copy(update={"heat": (run,) if heat else ()})}
    located = mill.folder.lots["L1"]
    folder = mill.folder.with_records(
        lots={"L1": Located(located.record.model_copy(update=changes), located.document)}
    )
    return mill.lot_page(lots["L1"], folder=folder, dossiers=dossiers)


# --- the list -----------------------------------------------------------------


def test_the_list_names_fields_that_exist():
    for model, fields in CUSTOMER_FIELDS.items():
        assert fields <= set(model.model_fields), model.__name__


def test_a_field_that_is_not_listed_cannot_be_read(mill):
    lot = for_customer(mill.folder.lots["L1"].record)
    assert lot.id == "L1"
    with pytest.raises(NotPublishedError, match=r"Lot\.customer"):
        _ = lot.customer
    with pytest.raises(NotPublishedError, match=r"Pack\.charge"):
        _ = lot.packs[0].charge
    with pytest.raises(NotPublishedError, match=r"Dossier\.set_points"):
        _ = for_customer(mill.dossiers["C1"]).set_points


CANARY = "zqcanary"
_PLANTS: dict[type, Any] = {str: CANARY, float: 7654.25, int: 76543, bool: False}
_SIGNS = (CANARY, "7654", "76543", "1987")


def planted(value: Any, *, allowed: bool) -> Any:
    """Return a value with a canary in every leaf that the list does not name."""
    if isinstance(value, BaseModel):
        fields = CUSTOMER_FIELDS.get(type(value), frozenset())
        return value.model_copy(
            update={
                name: planted(getattr(value, name), allowed=allowed and name in fields)
                for name in type(value).model_fields
            }
        )
    if isinstance(value, (list, tuple)):
        return type(value)(planted(item, allowed=allowed) for item in value)
    if isinstance(value, dict):
        return {
            f"{CANARY}{n}": planted(item, allowed=False) for n, item in enumerate(value.values())
        }
    if allowed:
        return value
    if isinstance(value, Quantity):
        return dataclasses.replace(value, value=7654.25, entered=f"7654.25 {CANARY}")
    if isinstance(value, dt.datetime):
        return value.replace(year=1987)
    if isinstance(value, dt.date):
        return value.replace(year=1987)
    return value if value is None else _PLANTS.get(type(value), value)


def test_no_canary_leaves_the_mill(tmp_path):
    """Every field that the list does not name contains a mark; no mark comes out."""
    mill = small_mill(
        tmp_path,
        lot={
            "customer": {"name": "x"},
            "notes": "x",
            "storage": {"temperature": "18 °C", "relative_humidity": "60 %"},
        },
        charge={"notes": "x"},
    )

    def everywhere(located):
        return {
            name: Located(planted(item.record, allowed=True), item.document)
            for name, item in located.items()
        }

    folder = mill.folder.with_records(
        mill=Located(planted(mill.folder.mill.record, allowed=True), mill.folder.mill.document),
        **{
            name: everywhere(getattr(mill.folder, name))
            for name in ("species", "schedules", "kilns", "loggers", "charges", "lots")
        },
    )
    dossier = planted(mill.dossiers["C1"], allowed=True)
    lot = planted(mill.lots["L1"], allowed=True)
    assert CANARY in dossier.model_dump_json(), "nothing was planted"
    assert lot.charges == (CANARY,)
    env = environment(folder.mill.record, menu=())
    html = mill.lot_page(lot, folder=folder, dossiers={CANARY: dossier})
    view = customer_lot(folder, "L1", {CANARY: dossier}, lot, mill.tokens["L1"])
    pdf, _ = lot_pdf(env, view)
    for text in (html, pdf_words(pdf)):
        assert "Lot L1" in text
        for sign in _SIGNS:
            assert sign not in text, sign


# --- the record on paper ------------------------------------------------------


def test_the_pdf_record_is_one_page_and_agrees_with_the_page(mill, tmp_path):
    path = tmp_path / "record.pdf"
    view = customer_lot(mill.folder, "L1", mill.dossiers, mill.lots["L1"], mill.tokens["L1"])
    pdf, warnings = lot_pdf(environment(mill.folder.mill.record, menu=()), view)
    assert warnings == []
    path.write_bytes(pdf)
    reader = PdfReader(path)
    assert len(reader.pages) == 1
    text = pdf_words(path.read_bytes())
    assert mill.lots["L1"].judgement.sentence.replace("\u00a0", " ") in text
    assert "Meets the order" in text
    assert "Do not enter a kiln on the strength of this record." in text
    assert "Demonstration" in text


def test_the_record_of_a_lot_with_long_texts_is_still_one_page(mill):
    view = customer_lot(mill.folder, "L1", mill.dossiers, mill.lots["L1"], mill.tokens["L1"])
    long = with_words(
        view,
        packs=packs(24),
        heat_treatment="The mill's record shows the core of the pieces measured at 56 °C or above "
        "for 30 minutes without a break. " * 2,
        product=view.record.product * 4,
    )
    pdf, warnings = lot_pdf(environment(mill.folder.mill.record, menu=()), long)
    assert not warnings
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
    assert "HB-26-0023-A" in pdf_words(pdf)


def test_a_record_that_cannot_fit_causes_a_warning(mill):
    view = customer_lot(mill.folder, "L1", mill.dossiers, mill.lots["L1"], mill.tokens["L1"])
    endless = with_words(view, product="Red oak boards. " * 900)
    _, warnings = lot_pdf(environment(mill.folder.mill.record, menu=()), endless)
    assert any("not one" in warning for warning in warnings)


def test_printing_a_record_again_gives_the_same_bytes(mill):
    """Whatever was printed in between: documents share their fonts and style sheets."""
    first = pdf_of(mill)
    view = customer_lot(mill.folder, "L1", mill.dossiers, mill.lots["L1"], mill.tokens["L1"])
    other = with_words(view, product="Ölkiefer, ¾ in, “select”")
    assert lot_pdf(environment(mill.folder.mill.record, menu=()), other)[0] != first
    assert pdf_of(mill) == first


def test_the_code_on_the_record_leads_to_the_page(mill, tmp_path):
    """Drawn by poppler and read by ZXing, neither of which made it."""
    path = tmp_path / "record.pdf"
    path.write_bytes(pdf_of(mill))
    subprocess.run(
        ["pdftoppm", "-r", "150", "-png", "-singlefile", path, tmp_path / "record"], check=True
    )
    codes = zxingcpp.read_barcodes(Image.open(tmp_path / "record.png"))
    assert [code.text for code in codes] == [f"https://mill.example/records/{mill.tokens['L1']}/"]
    assert codes[0].ec_level == "M"
