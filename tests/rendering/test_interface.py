"""The mill's own pages in French and German: their catalogue, and pages that use it."""

import re
from typing import get_args

import pytest
from pydantic import ValidationError
from tests.minimal import minimal_mill, minimal_records
from tests.rendering.catalogues import catalogue as fresh

from kilnfolio.records.checking import checked_mill
from kilnfolio.records.mill import Mill, OwnLanguage
from kilnfolio.rendering.interface import interface
from kilnfolio.rendering.languages import SEALED, catalogue, interfaces
from kilnfolio.rendering.templating import environment
from kilnfolio.site.context import context_of
from kilnfolio.site.pages.charges import charge_pages
from kilnfolio.site.static import assets
from kilnfolio.training.pages import render_practice

OTHERS = [tag for tag in interfaces() if tag != SEALED]


def _mill(tag: str) -> Mill:
    return Mill.model_validate(minimal_records()["mill"] | {"language": tag})


def test_a_mill_may_choose_any_language_with_a_catalogue_of_its_pages():
    assert sorted(get_args(OwnLanguage)) == sorted(interfaces())
    assert _mill("fr").language == "fr"
    with pytest.raises(ValidationError, match="there is no translation"):
        _mill("es")


@pytest.mark.parametrize("tag", OTHERS)
def test_nearly_every_string_of_today_is_translated(tag):
    """A new string is shown in English until it is translated; at most 2 in 100 may be."""
    known = {message.id for message in catalogue(f"mill-{tag}") if message.id and message.string}
    wanted = {message.id for message in fresh(f"mill-{tag}") if message.id}
    assert len(wanted) > 1800
    missing = wanted - known
    assert len(missing) <= 0.02 * len(wanted), missing


@pytest.mark.parametrize("tag", OTHERS)
def test_a_translation_keeps_every_value_and_element_of_its_english(tag):
    kept = re.compile(r"%\(\w+\)s|\{\w*\}|<[^>]+>|%%")
    for message in catalogue(f"mill-{tag}"):
        ids = message.id if isinstance(message.id, tuple) else (message.id,)
        sayings = message.string if isinstance(message.string, tuple) else (message.string,)
        for english, saying in zip(ids, sayings, strict=True):
            if english and saying:
                assert sorted(kept.findall(saying)) == sorted(kept.findall(english)), english


# CLDR, release 47: the long date of fr is "d MMMM y". Quebec's Office de la langue française sets
# a no-break space before a colon and a percent sign, and none before ; ! ?.
@pytest.mark.parametrize(
    ("english", "french"),
    [
        ("Sample boards", "Planches témoins"),
        ("sample boards", "planches témoins"),
        ("Dried to 8.3 % MC in 29.0 d; the target was 8\u00a0%.", "Séchée à 8.3 % TH en 29.0 d;"),
        ("step 5", "étape 5"),
        (" at the end", " à la fin"),
        ("21 Oct", "21 oct."),
        ("Sample boards · Heron Bend", "Planches témoins · Heron Bend"),
        (": Sample boards", ": Planches témoins"),
    ],
)
def test_words_made_in_python_are_said_in_french(english, french):
    assert interface("fr").say(english).startswith(french)


#: As the today page and the kiln-side page put them together.
TOGETHER = [
    (
        "An estimate: sample boards decide. It goes by the hours of its steps; no earlier charge is "
        "asked.",
        "Une estimation : les planches témoins décident. Elle suit les heures de ses étapes; aucune "
        "charge antérieure n’est consultée.",
    ),
    (
        "Overdue: it was likely by 14 Oct 06:56 (80 in 100: 13 Oct 21:59 to 14 Oct 19:43); weigh the "
        "boards",
        "En retard : c’était probable avant le 14 oct. 06:56 (80 sur 100 : 13 oct. 21:59 à 14 oct. "
        "19:43); pesez les planches",
    ),
    (
        "a drying curve learnt from 2 earlier charges, too few or of other timber, so that the band "
        "is wider; the air to come is unlike theirs, so the band may be too narrow",
        "une courbe de séchage apprise de 2 charges antérieures, trop peu ou d’un autre bois, d’où "
        "une bande plus large; l’air à venir diffère du leur, la bande peut donc être trop étroite",
    ),
    (
        "last 2225 g on 15 Oct 07:17, MC 44.5 %, step 2 at 2155 g, likely 16 Oct 23:17",
        "dernière masse 2225 g le 15 oct. 07:17, TH 44.5 %, étape 2 à 2155 g, probable le 16 oct. "
        "23:17",
    ),
    ("step 5 at 30 %", "étape 5 à 30 %"),
    ("3 to 5 % more heat", "3 à 5 % de chaleur en plus"),
    ("pin-1 showed 23.9 % MC ± 1.5 on 15 Oct 07:50", "pin-1 : 23.9 % TH ± 1.5 le 15 oct. 07:50"),
]


@pytest.mark.parametrize(("english", "french"), TOGETHER)
def test_sentences_and_clauses_put_together_are_each_said(english, french):
    assert interface("fr").say(english).replace("\u00a0", " ") == french


def test_a_text_of_which_only_some_sentences_are_known_stays_whole():
    half = "An estimate: sample boards decide. The yard of ours is wet."
    assert interface("fr").say(half) == half


# EN 844 (from memory): Längskrümmung, Querkrümmung, Fasersättigungspunkt. CLDR, release 47: the
# short date of de has a full stop after the day. The others are common practice, no source.
@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("Sample boards", "Probebretter"),
        ("cup", "Querkrümmung"),
        ("Fibre saturation point", "Fasersättigungspunkt"),
        ("Equalizing", "Ausgleichen"),
        ("step 5", "Stufe 5"),
        (" at the end", " am Ende"),
        ("21 Oct", "21. Okt."),
        (
            "Dried to 8.3 % MC in 29.0 d; the target was 8\u00a0%.",
            "Auf 8.3 % Holzfeuchte getrocknet",
        ),
        ("Sample boards · Heron Bend", "Probebretter · Heron Bend"),
    ],
)
def test_words_made_in_python_are_said_in_german(english, german):
    assert interface("de").say(english).startswith(german)


# CLDR, plural rules: "one" is 0 and 1 in French, 1 alone in German.
@pytest.mark.parametrize(
    ("english", "french", "german"),
    [
        ("0 charges", "0 charge", "0 Chargen"),
        ("1 charge", "1 charge", "1 Charge"),
        ("2 questions", "2 questions", "2 Fragen"),
        ("3 not applicable", "3 sans objet", "3 nicht anwendbar"),
        ("4.5 points/day", "4.5 points/jour", "4.5 Punkte/Tag"),
    ],
)
def test_counts_have_the_plural_of_the_language(english, french, german):
    assert interface("fr").say(english).replace("\u00a0", " ") == french
    assert interface("de").say(english).replace("\u00a0", " ") == german


def test_english_that_no_translation_knows_is_marked():
    page = '<title>The yard of ours</title><p title="The yard of ours">The yard of ours</p>'
    marked = page.replace(">The yard of ours</p>", '><span lang="en">The yard of ours</span></p>')
    assert interface("fr").page(page) == marked
    env = environment(_mill("fr"), tag="fr")
    said = env.from_string('<p>{{ _("Kilnside %(words)s", words="the yard of ours") }}</p>')
    assert said.render() == '<p>Kilnside <span lang="en">the yard of ours</span></p>'


@pytest.mark.parametrize(
    "words",
    ["Move the charge to the yard.", "From the mill to the yard", "S7, low", "Heron Bend", "14"],
)
def test_words_that_are_no_string_of_the_catalogue_stay(words):
    assert interface("fr").say(words) == words


def test_a_page_is_gone_through_without_what_is_code_or_marked_as_english():
    page = interface("fr").page(
        '<nav aria-label="Sample boards"><p>Sample boards</p><code>Sample boards</code>'
        '<p lang="en">Sample <b>Sample boards</b></p><br><p>Sample boards</p></nav>'
    )
    assert page == (
        '<nav aria-label="Planches témoins"><p>Planches témoins</p><code>Sample boards</code>'
        '<p lang="en">Sample <b>Sample boards</b></p><br><p>Planches témoins</p></nav>'
    )


def test_a_value_in_a_sentence_is_said_too_and_stays_escaped():
    env = environment(_mill("fr"), tag="fr")
    said = env.from_string('<p>{{ _("Kilnside %(words)s", words="Sample boards") }}</p>')
    assert said.render() == "<p>Kilnside Planches témoins</p>"
    risky = env.from_string('<p>{{ _("Charge %(number)s", number="<b>") }}</p>')
    assert risky.render() == "<p>Charge &lt;b&gt;</p>"


def test_the_frame_of_a_page_is_french_and_says_so():
    env = environment(_mill("fr"), tag="fr")
    page = env.from_string('{% extends "layout.html" %}').render(
        title="t", here="index.html", root="", crumbs=(), summary="", robots=""
    )
    assert '<html lang="fr">' in page
    assert ">Séchoirs</a>" in page
    assert "<!doctype html>" in page


def test_a_page_in_english_is_not_gone_through():
    env = environment(_mill("en"))
    assert env.from_string("<p>Sample boards {{ in_english }}</p>").render() == (
        "<p>Sample boards </p>"
    )


def test_scripts_speak_french_and_keep_their_code():
    english, french = assets("mill"), assets("mill", "fr")
    assert set(english) == set(french)
    assert b"Planche la plus humide" in french["assets/bench.js"]
    assert b"Wettest and driest board" not in french["assets/bench.js"]
    for name in ("assets/typed.js", "assets/kiln-side.js"):
        assert french[name].count(b"\n") > 100
        assert b"use strict" in french[name]


def test_peoples_own_words_stay_as_entered_even_where_they_are_words_of_the_interface():
    source = (
        "<p>{{ note | words | entered }}</p><p>Sample boards {{ by | entered }}</p>"
        '<i title="{{ by | entered }}">{{ _("Kilnside %(words)s", words=by | entered) }}</i>'
    )
    values = {"note": "Sample boards\nToo <hot>", "by": "March"}
    english = (
        '<p>Sample boards<br>Too &lt;hot&gt;</p><p>{} March</p><i title="March">Kilnside March</i>'
    )
    for mill, said in ((_mill("fr"), "Planches témoins"), (_mill("en"), "Sample boards")):
        env = environment(mill, tag=mill.language)
        assert env.from_string(source).render(values) == english.format(said)


@pytest.mark.parametrize("tag", OTHERS)
def test_a_note_that_is_a_word_of_the_interface_stays_on_its_page(tag, tmp_path):
    minimal_mill(tmp_path, mill={"language": tag}, charge={"notes": "Sample boards"})
    mill = checked_mill(tmp_path)
    page = next(iter(charge_pages(context_of(mill.graph, "mill"), next(iter(mill.charges)))))
    assert ">Sample boards</p>" in page.html  # the note
    assert ">Sample boards</h2>" not in page.html  # a heading


@pytest.mark.parametrize("tag", OTHERS)
def test_practice_problems_stay_in_english_and_say_so(tag, tmp_path):
    """Elsewhere on the page the words are the mill's: ``Hint`` is a heading of the interface."""
    minimal_mill(tmp_path, mill={"language": tag})
    folder = checked_mill(tmp_path)
    made = render_practice(folder, context_of(folder.graph, "mill").env).html
    problems = made.count('<section class="problem"')
    assert problems > 10
    assert made.count('<div class="asked" lang="en">') == problems
    assert made.count('<div class="worked" lang="en">') == problems
    assert "<summary>Hint</summary>" not in made
    assert f"<summary>{interface(tag).say('Hint')}</summary>" in made
