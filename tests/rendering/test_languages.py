"""The customers' languages: complete catalogues, figures and dates by the CLDR."""

import datetime as dt
import json
import re
from typing import get_args

import pytest
from babel.messages.pofile import read_po
from tests.conftest import PROJECT
from tests.minimal import minimal_records
from tests.rendering.catalogues import FOLDER, messages, mill_catalogue
from tests.rendering.catalogues import catalogue as fresh

from kilnfolio.records.mill import CustomerLanguage, Mill
from kilnfolio.rendering.languages import SEALED, available, catalogue, language
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.templating import environment

OTHERS = [tag for tag in available() if tag != SEALED]
#: The fields of a record that people wrote in their own words, and that stay as written.
OWN_WORDS = {"product", "claim", "species", "place", "mill", "lot"}


def test_a_mill_may_choose_any_language_with_a_catalogue():
    assert get_args(CustomerLanguage) == ("en", "fr", "de")
    assert sorted(get_args(CustomerLanguage)) == sorted(available())


@pytest.mark.parametrize("tag", OTHERS)
def test_every_string_is_translated_and_the_catalogue_has_no_others(tag):
    found = catalogue(tag)
    told = {message.id for message in found if message.id}
    assert told == {message.id for message in fresh(tag) if message.id}
    assert len(told) > 150
    for message in found:
        sayings = message.string if isinstance(message.string, tuple) else (message.string,)
        assert all(sayings), message.id
        assert not message.fuzzy, message.id
    assert not found.obsolete


@pytest.mark.parametrize("tag", OTHERS)
def test_a_translation_keeps_every_figure_of_its_english(tag):
    slots = re.compile(r"\{\w+\}|%\(\w+\)s")
    for message in catalogue(tag):
        ids = message.id if isinstance(message.id, tuple) else (message.id,)
        sayings = message.string if isinstance(message.string, tuple) else (message.string,)
        for english, saying in zip(ids, sayings, strict=True):
            if english:
                assert sorted(slots.findall(saying)) == sorted(slots.findall(english)), english


def test_the_catalogue_of_the_mills_own_pages_holds_what_their_templates_mark():
    with (FOLDER / "mill.pot").open("rb") as file:
        kept = {message.id for message in read_po(file) if message.id}
    assert kept == {message.id for message in mill_catalogue() if message.id}
    assert {"Handbook", "Search", "Today", "Sample boards", "The charge over time"} <= kept
    assert len(kept) > 900


def test_strings_are_extracted_from_templates_too():
    assert "Scan for the drying record." in set(messages())
    assert ("board measured", "boards measured") in set(messages())


# Figures and dates of the CLDR (Unicode Common Locale Data Repository, release 47): the decimal
# sign of fr and de is a comma; digits go in threes by U+202F in fr and by a point in de; the long
# date is "d MMMM y" in fr and "d. MMMM y" in de; 0 is singular in fr and plural in de.
@pytest.mark.parametrize(
    ("tag", "english", "said"),
    [
        ("fr", "8.1\u00a0%", "8,1\u00a0%"),
        ("de", "8.1\u00a0%", "8,1\u00a0%"),
        ("fr", "12\u00a0350", "12\u202f350"),
        ("de", "12\u00a0350", "12.350"),
        ("fr", "5\u00a0April 2026", "5 avril 2026"),
        ("de", "28\u00a0November 2026", "28. November 2026"),
        ("fr", "0 packs", "0 paquet"),
        ("de", "0 packs", "0 Pakete"),
        ("fr", "1 pack", "1 paquet"),
        ("fr", "6 packs", "6 paquets"),
    ],
)
def test_figures_dates_and_plurals_follow_the_language(tag, english, said):
    assert language(tag).translate(english).replace("\u00a0", " ") == said.replace("\u00a0", " ")


def test_a_claim_is_never_translated():
    assert language("fr").translate("70.5 % certified", verbatim=True) == "70.5 % certified"


def test_a_date_is_written_as_a_date_of_the_language():
    assert language("de").date(dt.date(2026, 3, 5)).replace("\u00a0", " ") == "5. März 2026"


@pytest.mark.parametrize("tag", OTHERS)
def test_every_word_of_a_sealed_record_has_a_translation(tag):
    """Checked on the demonstration's sealed records, as the ledger keeps them."""
    spoken = language(tag)
    records = [
        json.loads(path.read_bytes())
        for path in sorted((PROJECT / "content/ledger").rglob("*.json"))
        if '"statement"' in path.read_text("utf-8")
    ]
    assert len(records) > 10
    for record in records:
        words = {key: value for key, value in record.items() if key not in OWN_WORDS}
        words |= record.get("shown", {})
        words.pop("packs"), words.pop("safety"), words.pop("kilnfolio")
        for key, value in words.items():
            if isinstance(value, str) and value:
                assert spoken.knows(value), f"{key}: {value}"


def test_the_guide_shows_the_digits_of_the_current_wording():
    guide = (PROJECT / "builder/kilnfolio/guide/12-publish.md").read_text("utf-8")
    assert f"language: fr, wording: {language('fr').safety_digest}," in guide


def test_a_signed_wording_is_shown_alone_until_it_changes():
    mill = Mill.model_validate(
        minimal_records()["mill"]
        | {
            "customer_languages": ["fr"],
            "signed_wordings": [
                {
                    "language": "fr",
                    "wording": language("fr").safety_digest,
                    "by": "A. Mill",
                    "on": "2026-06-01",
                }
            ],
        }
    )
    foot = environment(mill, menu=(), tag="fr").get_template("safety_wording.html").render()
    assert language("fr").safety in foot
    assert SAFETY not in foot
    assert not mill.has_signed("fr", "00000000")
    assert (
        SAFETY in environment(mill, menu=(), tag="de").get_template("safety_wording.html").render()
    )
