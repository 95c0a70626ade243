"""Scripts of a French and a German mill: figures read and written as people there do."""

import pytest
from playwright.sync_api import expect
from tests.browser.test_search import FIRST, TOLD
from tests.rendering.test_figures_of_a_language import OTHERS
from tests.site.site import shared_mill

#: What a field for a mass takes, by language, as a script reads it; "" if it is refused.
TYPED = {
    "fr": {"0,68": "0.68", "0.68": "0.68", "1.234": "1.234", "1,234": "1.234"},
    "de": {"0,68": "0.68", "0.68": "0.68", "1.234": "", "1,234": "1.234"},
}


@pytest.mark.parametrize("tag", OTHERS)
def test_calculators_read_both_decimal_marks_and_write_the_languages_own(page, tag):
    page.goto((shared_mill(tag=tag).site / "mill/calculators.html").as_uri())
    form = page.locator("#moisture-content")
    mass, dry = (form.locator(f"input[name={name}]") for name in ("mass", "oven_dry_mass"))
    assert (mass.input_value(), dry.input_value()) == ("0,52", "0,34")
    for typed, read in TYPED[tag].items():
        mass.fill(typed)
        expect(form.locator(".refusal")).to_have_count(0 if read else 1)
        if read:
            quantity = "words => kilnfolio.calculators.quantity('Mass', words, 'lb').entered"
            assert page.evaluate(quantity, typed) == f"{read} lb"
    mass.fill("0,68")  # twice the oven-dry mass: 100 % by the definition of MC
    expect(form.locator(".result")).to_contain_text("100,0")


@pytest.mark.parametrize(("tag", "group"), [("fr", "\u202f"), ("de", "."), ("en", "\u00a0")])
def test_scripts_write_numbers_as_the_cldr_does(page, tag, group):
    mill = shared_mill(tag=tag) if tag != "en" else shared_mill()
    page.goto((mill.site / "mill/bench.html").as_uri())
    mark = "." if tag == "en" else ","
    number = "value => kilnfolio.numbers.number(value, 2)"
    assert page.evaluate(number, 12345.678) == f"12{group}345{mark}68"
    assert page.evaluate(number, -0.5) == f"\u22120{mark}50"
    bare = "value => kilnfolio.numbers.bare(kilnfolio.numbers.number(value, 2))"
    assert page.evaluate(bare, -12345.678) == "-12345.68"
    assert mark in page.locator("#air-emc").inner_text()


#: A question, and how the first answer begins.
ASKED = {
    "fr": {
        "60,5/50 C": "Bulbe sec 60,5 °C, bulbe humide 50 °C",
        "bulbe sec 60, bulbe humide 50": "Bulbe sec 60 °F",
        "lots en échec": "Lots non conformes",
        "combien de temps pour sécher le northern red oak ?": "Northern red oak",
    },
    "de": {
        "60,5/50 C": "Trockentemperatur 60,5 °C, Feuchttemperatur 50 °C",
        "Trockentemperatur 60, Feuchttemperatur 50": "Trockentemperatur 60 °F",
        "durchgefallene Partien": "Partien",
        "Wie lange trocknet northern red oak?": "Northern red oak",
    },
}
#: A question in words of the language, and the page it is about.
FOUND = {
    "fr": {"c’est quoi la perte journalière ?": "checks/daily-loss.html"},
    "de": {"Was ist der Verlust je Tag?": "checks/daily-loss.html"},
}


@pytest.mark.parametrize("tag", OTHERS)
def test_search_understands_questions_in_the_mills_language(page, tag):
    page.goto((shared_mill(tag=tag).site / "mill/search.html").as_uri())
    for question, begins in ASKED[tag].items():
        told = page.evaluate(TOLD, question).replace("\u00a0", " ")
        assert told.startswith(begins), (question, told)
    for question, address in FOUND[tag].items():
        found = page.evaluate(FIRST, question)
        assert any(one.startswith(address) for one in found), (question, found)
    headings = page.evaluate("Object.values(KILNFOLIO_SEARCH.headings)")
    assert {"fr": "Essences", "de": "Holzarten"}[tag] in headings
