"""A sealed and amended mill, built: what its three kinds of reader see."""

import csv
import json
import re
import shutil
import subprocess
from pathlib import Path

import bagit
import jsonschema
import pikepdf
import pytest
import yaml
from tests.given import given
from tests.pdf_reading import read_pages
from tests.site.site import Outline
from tests.site_reading import dead_links, read_edition

from kilnfolio.archive.audit import audit
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.trust import TrustedKey
from kilnfolio.cli.audit import makers
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.seal_words import words_of


def text_of(path: Path) -> str:
    return Outline(path.read_text("utf-8")).text


# --- the customer ---------------------------------------------------------------------------------


def test_the_served_record_is_the_one_the_label_identifies(built):
    served = (built.lot / "record.json").read_bytes()
    last = built.ledger.of_lot("L1")[-1]
    assert sha256(served) == last.record
    assert canonical(json.loads(served)) == served
    page = (built.lot / "index.html").read_text("utf-8")
    assert f'data-seal="{last.seal}"' in page
    assert " ".join(words_of(last.seal)) in page


def test_the_page_contains_the_same_record_as_the_file(built):
    from html.parser import HTMLParser

    class Pre(HTMLParser):
        inside, text = False, ""

        def handle_starttag(self, tag, attrs):
            self.inside = dict(attrs).get("id") == "lot-record" or (self.inside and tag != "script")

        def handle_endtag(self, tag):
            self.inside &= tag != "pre"

        def handle_data(self, data):
            self.text += data if self.inside else ""

    reader = Pre()
    reader.feed((built.lot / "index.html").read_text("utf-8"))
    assert reader.text.encode() == (built.lot / "record.json").read_bytes()


def test_an_amended_record_lists_the_seals_of_older_labels_without_names(built):
    first, last = built.ledger.of_lot("L1")
    page = (built.lot / "index.html").read_text("utf-8")
    assert f'data-history="{first.seal}"' in page
    assert " ".join(words_of(first.seal)) in page
    assert last.reason not in page
    assert "A. N. Other" not in page


def test_the_record_is_valid_by_its_published_schema(built):
    schema = json.loads((built.site / "customer/lot-record.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    record = json.loads((built.lot / "record.json").read_text("utf-8"))
    jsonschema.validate(record, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**record, "customer": "x"}, schema)
    assert record["safety"] == SAFETY


def test_linked_data_agrees_with_the_record(built):
    page = (built.lot / "index.html").read_text("utf-8")
    data = json.loads(re.search(r'<script type="application/ld\+json">(.*?)</script>', page)[1])
    record = json.loads((built.lot / "record.json").read_text("utf-8"))
    assert (data["@context"], data["@type"]) == ("https://schema.org", "Product")
    assert data["identifier"] == record["lot"]
    assert data["@id"] == "#lot"  # no address that a page opened elsewhere would reveal
    said = {item["name"]: item["value"] for item in data["additionalProperty"]}
    mean = said["moisture content, mean"]
    assert " ".join(record["mean"].split()) == f"{mean['value']:.1f} %"
    # UN/CEFACT Recommendation 20: P1 per cent, MTQ cubic metre, MMT millimetre, H87 piece, C62 one
    # (from memory)
    assert {value["unitCode"] for value in said.values() if isinstance(value, dict)} == {
        "P1",
        "MTQ",
        "MMT",
        "H87",
        "C62",
    }
    assert said["pieces"] == {
        "@type": "QuantitativeValue",
        "value": sum(pack["pieces"] for pack in record["packs"]),
        "unitCode": "H87",
    }


# --- PDF/A ----------------------------------------------------------------------------------------


def pdfs(built) -> list[tuple[Path, str, bytes]]:
    lot = (built.lot / "record.pdf", "record.json", (built.lot / "record.json").read_bytes())
    charge = built.site / "auditor/records/C1.pdf"
    dossier = (built.root / "content/ledger/dossiers/C1-2.json").read_bytes()
    return [lot, (charge, "dossier.json", dossier)]


def test_records_have_the_structure_of_pdf_a_3b(built):
    """The structure that ISO 19005-3 requires (from memory)."""
    for path, name, data in pdfs(built):
        with pikepdf.open(path) as pdf:
            meta = pdf.open_metadata()
            assert (meta["pdfaid:part"], meta["pdfaid:conformance"].upper()) == ("3", "B"), path
            assert meta["dc:title"] == str(pdf.docinfo["/Title"])
            assert not pdf.is_encrypted
            assert "/JavaScript" not in pdf.Root.get("/Names", {})
            assert not {"/OpenAction", "/AA"} & set(pdf.Root.keys())
            assert pdf.Root.Lang is not None
            assert pdf.Root.MarkInfo.Marked
            assert "/StructTreeRoot" in pdf.Root
            intent = pdf.Root.OutputIntents[0]
            assert intent.S == "/GTS_PDFA1"
            assert intent.DestOutputProfile.read_bytes()[36:40] == b"acsp"  # an ICC profile
            assert pdf.trailer.ID
            attached = pdf.attachments[name]
            assert attached.get_file().read_bytes() == data
            specification = pdf.Root.AF[0]
            assert specification.AFRelationship == "/Data"
            assert str(specification.F) == str(specification.UF) == name
            assert "/Subtype" in specification.EF.F
            links = [link for page in pdf.pages for link in page.get("/Annots", [])]
            assert all(link.F & 4 and not link.F & 3 for link in links)  # printed, not hidden
            assert all(
                "/LZWDecode" not in str(item.get("/Filter", ""))
                for item in pdf.objects
                if isinstance(item, pikepdf.Stream)
            )
        assert path.read_bytes()[9:10] == b"%"
        assert min(path.read_bytes()[10:14]) >= 128  # marks the file as binary
        _fonts_are_embedded(path)


@pytest.mark.skipif(shutil.which("verapdf") is None, reason="veraPDF is not installed")
def test_records_are_valid_pdf_a_3b_by_an_independent_validator(built):
    for path, _, _ in pdfs(built):
        run = subprocess.run(
            ["verapdf", "--flavour", "3b", "--format", "text", path], capture_output=True, text=True
        )
        assert run.stdout.startswith("PASS"), run.stdout + run.stderr


def _fonts_are_embedded(path: Path) -> None:
    with pikepdf.open(path) as pdf:
        items = [item for item in pdf.objects if isinstance(item, pikepdf.Dictionary)]
        fonts = [item for item in items if item.get("/Type") == "/FontDescriptor"]
        assert fonts, path
        assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(font.keys()) for font in fonts)
        composed = [item for item in items if item.get("/Subtype") == "/Type0"]
        assert composed
        assert all("/ToUnicode" in font for font in composed)
        assert all(
            "/CIDToGIDMap" in item for item in items if item.get("/Subtype") == "/CIDFontType2"
        )


def test_the_handbook_is_tagged(built):
    with pikepdf.open(built.site / "mill/handbook.pdf") as pdf:
        assert pdf.Root.MarkInfo.Marked
        assert "/StructTreeRoot" in pdf.Root
        assert str(pdf.Root.Lang)
    _fonts_are_embedded(built.site / "mill/handbook.pdf")


def test_records_have_the_safety_wording(built):
    for path, _, _ in pdfs(built):
        text = " ".join(" ".join(page.text for page in read_pages(path)).split())
        assert "Do not enter a kiln on the strength of this record" in text


def test_the_pdf_of_a_charge_has_every_weighing(built):
    """Each row of the sheet, by its time, with an MC for every board that was weighed."""
    text = " ".join(
        " ".join(page.text for page in read_pages(built.site / "auditor/records/C1.pdf")).split()
    )
    charge = next(built.root.glob("content/charges/*/C1/charge.yaml"))
    weighings = yaml.safe_load(charge.read_text("utf-8"))["weighings"]
    assert len(weighings) > 4
    for weighing in weighings:
        when = weighing["at"][:16].replace("T", " ")
        row = re.search(rf"{when} \w+((?: \d+\.\d)+)", text.partition("Weighings")[2])
        assert row, when
        # and the controlling MC
        assert len(row[1].split()) == len(weighing["masses"]) + 1


# --- the mill -------------------------------------------------------------------------------------


def test_charge_and_lot_pages_say_how_they_are_sealed(built):
    first, last = built.ledger.of_charge("C1")
    page = text_of(built.site / "mill/charges/C1.html")
    assert f"entry {last.number} of the ledger" in page
    assert last.reason in page
    spaced = re.sub(r"(.{4})(?=.)", r"\1 ", last.seal)
    assert spaced in page
    assert "Superseded" in page
    lot = text_of(built.site / "mill/lots/L1.html")
    assert " ".join(words_of(built.ledger.of_lot("L1")[-1].seal)) in lot
    assert first.seal != last.seal


@pytest.mark.parametrize("edition", ["mill", "auditor"])
def test_the_superseded_page_is_kept_and_marked(built, edition):
    page = text_of(built.site / edition / "charges/C1-sealed-1.html")
    assert "Superseded" in page
    assert built.ledger.of_charge("C1")[1].reason in page
    now = text_of(built.site / edition / "charges/C1.html")
    mean = json.loads((built.root / "content/ledger/dossiers/C1-1.json").read_text())["survey"]
    assert f"Dried to {mean['mean_pct']:.1f}" in page.replace("\u00a0", " ")
    assert page != now


# --- the auditor ----------------------------------------------------------------------------------


def test_the_auditor_edition_is_self_contained(built):
    root = (built.site / "auditor").resolve()
    pages = read_edition(root)
    assert root / "charges/C1.html" in pages
    assert dead_links(root, pages) == []
    for path, reading in pages.items():
        assert " ".join(SAFETY.split()) in reading.text, path


def test_the_register_counts_verdicts(built):
    page = text_of(built.site / "auditor/index.html")
    for words in ("Fail", "Question", "Answered", "No data", "Pass", "C1", "amended"):
        assert words in page
    assert built.ledger.entries[0].public_key in page


def test_the_auditors_page_is_in_the_order_auditors_need(built):
    page = text_of(built.site / "auditor/charges/C1.html")
    wanted = [
        "From the pack back to the intake",
        "Every verdict",
        "The seal",
        "The charge over time",
        "Show the working",
        "People, corrections, answers",
        "Files and rules",
        "Instruments and their calibration",
        "Kept until",
        "Compute it again yourself",
    ]
    places = [page.index(words) for words in wanted]
    assert places == sorted(places)
    for outcome in ("pass", "no data"):
        assert outcome in page
    dossier = json.loads((built.root / "content/ledger/dossiers/C1-2.json").read_text())
    for finding in dossier["findings"]:
        assert finding["check"] in page
    for file in dossier["inputs"]:
        assert file["sha256"] in page


def test_retention_counts_from_the_end_or_the_last_dispatch(built):
    """Regulation (EU) 2023/1115 requires five years; the charge ended on 7 June 2026."""
    page = text_of(built.site / "auditor/charges/C1.html").replace("\u00a0", " ")
    assert re.search(r"Kept until \d+ June 2031", page)


def test_bags_are_verified_by_an_independent_tool_and_by_audit(built):
    bag = built.site / "auditor/bags/C1"
    bagit.Bag(str(bag)).validate()
    names = {path.relative_to(bag).as_posix() for path in bag.rglob("*")}
    assert {"data/record.pdf", "data/dossier.json", "data/datapackage.json", "README.txt"} <= names
    assert SAFETY.split(".")[0] in (bag / "README.txt").read_text()
    report = audit(
        built.site / "auditor",
        again=makers(),
        trusted=[TrustedKey(built.ledger.entries[0].public_key)],
    )
    assert report.outcome == "identical", (report.all_differences, report.all_open)
    assert len(report.folders[0].seals) == 2


def test_customers_and_orders_reach_no_auditor(built):
    lot = (built.root / "content/lots/L1.yaml").read_text()
    assert "customer" not in lot or "Cabinet" not in "".join(
        path.read_text("utf-8") for path in (built.site / "auditor").rglob("*.html")
    )


def test_series_are_numbers_that_a_spreadsheet_reads(built):
    for edition in ("mill", "auditor"):
        with (built.site / edition / "series/C1-boards.csv").open(newline="") as file:
            rows = list(csv.DictReader(file))
        dossier = json.loads((built.root / "content/ledger/dossiers/C1-2.json").read_text())
        found = [(row["board"], float(row["mc_pct"])) for row in rows]
        assert found == [
            (board["id"], point["mc_pct"])
            for board in dossier["boards"]
            for point in board["points"]
        ]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_cell_that_would_be_a_formula_is_text(text):
    """OWASP, CSV Injection: the six first characters."""
    from kilnfolio.site.series import cell

    assert cell(text) == "'" + text
    assert cell(-1.5) == "-1.5"
    assert cell("S1") == "S1"


@pytest.mark.parametrize("suffix", [".html", ".pdf"])
def test_an_audit_can_be_written_as_a_page_and_as_a_pdf(built, tmp_path, suffix):
    out = tmp_path / f"report{suffix}"
    bag = built.site / "auditor/bags/C1"
    before = {path: path.stat().st_mtime_ns for path in bag.rglob("*")}
    run = given("audit", bag, "--report", out)
    assert run.returncode == 3, run.stdout  # no key was given
    assert {path: path.stat().st_mtime_ns for path in bag.rglob("*")} == before
    text = (
        out.read_text("utf-8")
        if suffix == ".html"
        else " ".join(page.text for page in read_pages(out))
    )
    text = " ".join(text.split())
    assert "Recomputed and identical, but nobody confirmed the key" in text
    assert "numbers computed again" in text


def test_a_report_is_never_written_into_what_is_audited(built):
    bag = built.site / "auditor/bags/C1"
    run = given("audit", bag, "--report", bag / "report.html")
    assert run.returncode == 2
    assert "inside the audited folder" in run.stderr
    assert not (bag / "report.html").exists()
