"""What leaves the mill: a mark in every field of every record, and the edition searched for it.

The mill is written with a mark of its own in every field that holds free words. The whole customer
edition is then read as its files are: pages, data, drawings, comments, names, the words of each
PDF, what its catalogue says of it, and the files attached to it.
"""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pikepdf
import pypdf
import pytest
import yaml
from pydantic import BaseModel
from tests.minimal import FILES
from tests.trust.yard import labelled_mill

from kilnfolio.pipeline import build_site
from kilnfolio.publish.editions import CUSTOMER_FIELDS
from kilnfolio.records.charge import Charge
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.lot import Lot
from kilnfolio.records.mill import Mill
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.species import Species

MODELS: dict[str, type[BaseModel]] = {
    "mill": Mill, "kiln": Kiln, "logger": LoggerProfile, "charge": Charge, "lot": Lot,
    "species": Species, "schedule": Schedule}
MARK = re.compile(r"zq[a-z]*x\d+zq")
#: Fields whose values are names that other records use, or are read by rule and not free words.
NOT_FREE = {"id", "species", "kiln", "charge", "schedule", "number", "format",
            "time_zone", "channel", "heading", "at", "on", "since", "until", "profile",
            "file", "source", "sources",
            "status", "kind", "unit", "delimiter", "decimal", "encoding", "clock", "tag", "rule",
            "notation", "practice", "language", "code", "position", "positions", "correction_table",
            "records_address", "method", "instrument", "chosen_as", "start", "when", "check",
            "field"}


def _noted(charge: dict[str, Any]) -> None:
    charge["notes"] = "x"
    for stock in charge["stock"]:
        stock["intake"] = [{"number": "I1", "supplier": "x", "claim": "x"}]


#: Optional free words that the smallest mill does not write, put in so that they are tried too.
ADDED: dict[str, Any] = {
    "mill": {"about": "x"},
    "lot": {"notes": "x", "customer": {"name": "x", "order_number": "x"}, "claim": "x",
            "width": "x", "length": "x"},
    "charge": _noted,
}


class Marks:
    """Marks in the free words of a record, and which of them may leave."""

    def __init__(self) -> None:
        self.where: dict[str, str] = {}
        self.allowed: set[str] = set()

    def plant(self, value: Any, model: type[BaseModel] | None, path: str, *, open_: bool) -> Any:
        """Return a plain value with a mark in place of its free words."""
        if isinstance(value, dict):
            return {key: self._field(key, item, model, path, open_=open_)
                    for key, item in value.items()}
        if isinstance(value, list):
            return [self.plant(item, model, path, open_=open_) for item in value]
        return value

    def _field(self, key: str, item: Any, model: type[BaseModel] | None, path: str, *, open_: bool
               ) -> Any:
        inner = _model_of(model, key)
        may = open_ and model is not None and key in CUSTOMER_FIELDS.get(model, frozenset())
        here = f"{path}.{key}"
        if isinstance(item, str) and key not in NOT_FREE and _is_words(model, key):
            mark = f"zqx{len(self.where)}zq"
            self.where[mark] = here
            if may:
                self.allowed.add(mark)
            return mark
        return self.plant(item, inner, here, open_=may)


def _is_words(model: type[BaseModel] | None, key: str) -> bool:
    """Return whether a field holds words of any kind, not a quantity, date or one of a few."""
    if model is None or key not in model.model_fields:
        return False
    told = str(model.model_fields[key].annotation)
    return "str" in told and "Literal" not in told and not any(
        name in told for name in ("Quantity", "Mass", "Percent", "Temperature", "Volume", "Length",
                                  "datetime", "date", "Duration", "Rate"))


def _model_of(model: type[BaseModel] | None, key: str) -> type[BaseModel] | None:
    """Return the model of a field's parts."""
    if model is None or key not in model.model_fields:
        return None
    found: list[type[BaseModel]] = []

    def look(annotation: Any) -> None:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            found.append(annotation)
        for part in getattr(annotation, "__args__", ()):
            look(part)

    look(model.model_fields[key].annotation)
    return found[0] if found else None


@pytest.fixture(scope="module")
def planted(tmp_path_factory) -> tuple[Path, Marks]:
    from tests.archive.yard import seal_charge
    from tests.minimal import minimal_mill
    from tests.trust.yard import seal_lot_again

    from kilnfolio.archive.tokens import make_token_key

    root = minimal_mill(tmp_path_factory.mktemp("marked"), **ADDED)
    marks = Marks()
    for noun, model in MODELS.items():
        path = root / FILES[noun]
        record = yaml.safe_load(path.read_text("utf-8"))
        text = yaml.safe_dump(marks.plant(record, model, noun, open_=True), allow_unicode=True,
                              sort_keys=False)
        path.write_text(f"# zqcommentx{len(marks.where)}zq\n" + text, "utf-8")
    make_token_key(root / "keys/lot-addresses.key")
    seal_charge(root)
    seal_lot_again(root)
    build_site(root, root / "site", workers=2)
    return root / "site/customer", marks


def searched(edition: Path) -> str:
    """Return everything that can be read out of an edition."""
    parts: list[str] = []
    for path in sorted(edition.rglob("*")):
        parts.append(path.relative_to(edition).as_posix())
        if path.is_file() and path.suffix not in (".woff2", ".pdf"):
            parts.append(path.read_text("utf-8"))
        if path.suffix == ".pdf":
            parts += _of_pdf(path)
    return "\n".join(parts)


def _of_pdf(path: Path) -> list[str]:
    reader = pypdf.PdfReader(path)
    found = [page.extract_text() for page in reader.pages]
    found += [str(value) for value in (reader.metadata or {}).values()]
    with pikepdf.open(path) as pdf:
        found.append(str(pdf.open_metadata()))
        found += [str(item) for item in pdf.objects if isinstance(item, pikepdf.String)]
        for item in pdf.objects:
            if isinstance(item, pikepdf.Stream):
                found.append(item.read_bytes().decode("latin-1"))
        for name, attached in pdf.attachments.items():
            found += [name, str(attached.description),
                      attached.get_file().read_bytes().decode("utf-8")]
    return found


def test_marks_were_planted_in_every_noun(planted):
    _, marks = planted
    assert len(marks.where) > 30
    assert {path.partition(".")[0] for path in marks.where.values()} == set(MODELS)


def test_only_marks_on_the_list_leave_the_mill(planted):
    edition, marks = planted
    text = searched(edition)
    found = set(MARK.findall(text))
    leaked = {marks.where.get(mark, mark) for mark in found - marks.allowed}
    assert leaked == set()
    # the search is not blind: what may leave is found, in the pages and in the PDF
    assert found
    assert any(mark in _of_pdf(next(edition.rglob("*.pdf")))[0] for mark in found)


def test_nothing_of_the_ledger_but_digits_and_days_leaves(planted):
    text = searched(planted[0])
    assert "A. N. Other" not in text
    assert "C1" not in re.findall(r"\bC1\b", re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL)) \
        or "charge C1" not in text


def test_no_list_of_lots_leaves(planted):
    edition = planted[0]
    assert sorted(path.name for path in edition.iterdir() if path.is_file()) == [
        "lot-record.schema.json"]
    assert len([path for path in edition.iterdir() if path.is_dir()]) == 2  # assets and one lot


# --- hostile words --------------------------------------------------------------------------------

#: Together short enough for a name.
HOSTILE = ("</pre><script>alert(1)</script>\"><img src=x onerror=alert(2)><svg onload=alert(3)>"
           "{{ 7 * 191 }}")
#: Longer words go where a record takes them.
LONGER = HOSTILE + (" {% include '/etc/passwd' %} ${7*191} ../../../../etc/passwd "
                    "javascript:alert(4) &lt;script&gt; ]]><!-- ' onmouseover='x "
                    "\\u003cscript\\u003e =HYPERLINK(1) "
                    + "x" * 300)


def hostile_mill(root: Path) -> Path:
    def note(charge: dict[str, Any]) -> None:
        charge["notes"] = LONGER

    return labelled_mill(
        root, mill={"name": HOSTILE, "about": LONGER, "place": HOSTILE},
        lot={"product": HOSTILE, "width": HOSTILE, "notes": LONGER}, charge=note,
        kiln={"name": HOSTILE}, species={"trade_name": HOSTILE}, schedule={"title": HOSTILE})


@pytest.mark.parametrize("noun", ["mill", "kiln", "lot", "species", "schedule"])
def test_an_over_long_name_is_refused_with_its_place(tmp_path, noun):
    from kilnfolio.records.problems import RecordProblems

    key = {"lot": "product", "species": "trade_name", "schedule": "title"}.get(noun, "name")
    with pytest.raises(RecordProblems, match=rf"{FILES[noun]}:\d+:\d+: {key} .*Shorten it"):
        labelled_mill(tmp_path, **{noun: {key: "x" * 5000}})


@pytest.fixture(scope="module")
def hostile(tmp_path_factory) -> Path:
    """Return a site in which every field says the hostile words."""
    root = hostile_mill(tmp_path_factory.mktemp("hostile"))
    build_site(root, root / "site", workers=2)
    return root / "site"


def test_hostile_words_are_shown_as_text_and_never_acted_on(hostile, browser):
    site = hostile
    pages = [next((site / "customer").glob("*/index.html")), site / "mill/lots/L1.html",
             site / "mill/charges/C1.html", site / "auditor/charges/C1.html",
             site / "mill/kilns/k1.html", site / "mill/species/quercus-rubra.html"]
    for path in pages:
        page, acted = browser.new_page(), []
        page.on("dialog", lambda dialog, acted=acted: (acted.append(dialog.message),
                                                       dialog.dismiss()))
        page.goto(path.as_uri())
        assert acted == [], path
        assert "{{ 7 * 191 }}" in page.locator("body").inner_text(), path
        assert "1337" not in page.locator("main").inner_text(), path
        own = page.evaluate("[...document.querySelectorAll('script')].every(s => s.src || "
                            "['application/json', 'application/ld+json'].includes(s.type))")
        assert own or path.parts[-2] == "mill", path
        assert page.locator("img[src=x], svg[onload]").count() == 0, path
        page.close()


def test_hostile_words_stay_text_in_the_record(hostile):
    path = next((hostile / "customer").glob("*/record.pdf"))
    text = pypdf.PdfReader(path).pages[0].extract_text()
    assert "7 * 191" in text
    assert "1337" not in text


@pytest.mark.parametrize("words", ["a\u202eb", "a\x00b", "a\x1bb", "a\u2066b", "a\u200fb"],
                         ids=["bidi", "nul", "escape", "isolate", "mark"])
def test_characters_that_act_are_refused_or_shown(tmp_path, words):
    """A name with a control or direction character is refused with its place, or is made plain."""
    from kilnfolio.records.folder import read_mill_folder
    from kilnfolio.records.problems import RecordProblems

    try:
        root = labelled_mill(tmp_path, lot={"product": words})
        read_mill_folder(root)
    except (RecordProblems, yaml.YAMLError):
        return
    build_site(root, root / "site", workers=1)
    page = next((root / "site/customer").glob("*/index.html")).read_text("utf-8")
    acting = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\x00\x1b")
    assert not acting & set(page)


@pytest.mark.parametrize("name", ["../../outside", "/etc/passwd", "a/../../b", "a\\b", "nul\x00l"])
def test_a_lots_number_never_leads_out_of_the_site(tmp_path, name):
    from kilnfolio.records.problems import RecordProblems

    with pytest.raises((RecordProblems, yaml.YAMLError)):
        labelled_mill(tmp_path, lot={"id": name})


# --- WeasyPrint reads nothing outside -------------------------------------------------------------

@pytest.mark.parametrize("address", [
    "file:///etc/passwd", "http://127.0.0.1:9/x", "https://mill.example/x", "ftp://127.0.0.1/x",
    "../../../../../../etc/passwd", "//127.0.0.1/x"])
@pytest.mark.parametrize("markup", [
    '<img src="{0}" alt="">', '<link rel="stylesheet" href="{0}">',
    '<style>@import url("{0}"); p {{ background: url("{0}") }}</style><p>x</p>',
    '<svg width="9" height="9"><image href="{0}" width="9" height="9"/></svg>',
    '<svg width="9" height="9"><use href="{0}#x"/></svg>',
    '<object data="{0}"></object>', '<a rel="attachment" href="{0}">x</a>',
    '<style>@font-face {{ font-family: f; src: url("{0}") }} p {{ font-family: f }}</style>'
    "<p>x</p>"])
def test_a_document_reads_nothing_outside_the_assets(monkeypatch, markup, address):
    """Whatever asks, in HTML, CSS or SVG: the file is not opened and no socket is made."""
    import socket

    from kilnfolio.publish.printing import pdf_of

    def refuse(*_args, **_options):
        raise AssertionError("the network was asked")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    pdf, _ = pdf_of(f"<!doctype html><title>x</title>{markup.format(address)}", "record.css")
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        for item in opened.objects:
            if isinstance(item, pikepdf.Stream):
                assert b"root:" not in item.read_bytes()



