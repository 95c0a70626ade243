"""Figures on the mill's pages in French and German, against the CLDR as Babel has it."""

import re
from html.parser import HTMLParser

import pytest
from babel import Locale
from babel.numbers import format_decimal
from tests.rendering.test_interface import OTHERS
from tests.site.site import shared_mill

from kilnfolio.rendering.interface import interface
from kilnfolio.rendering.languages import language
from kilnfolio.review import figures

#: Numbers that look like decimals and are none: paragraphs of a standard or a law, and versions.
NO_DECIMALS = re.compile(r"(?:\d+\.){2,}\d+|CFR 1910\.265|AS/NZS 1080\.1")
_VOID = {"br", "col", "hr", "img", "input", "link", "meta", "wbr"}
_READ = {"aria-label", "aria-description", "alt", "title", "placeholder", "data-read"}


# Below ten thousand the CLDR groups too; `figures.number` groups from there, as the SI brochure allows.
@pytest.mark.parametrize("tag", OTHERS)
@pytest.mark.parametrize("decimals", [1, 2, 3])
@pytest.mark.parametrize("value", [0.0, 0.5, 8.25, 237.4, 999.9, 12_345.678, 1_234_567.8])
def test_a_figure_has_the_marks_of_the_cldr(tag, value, decimals):
    pattern = f"#,##0.{'0' * decimals}"
    said = language(tag).figures(figures.measure(-value, "kg", decimals))
    expected = format_decimal(round(value, decimals), pattern, tag) + "\u00a0kg"
    assert said == (figures.MINUS if value else "") + expected


@pytest.mark.parametrize(
    "words",
    [
        "kilnfolio 0.2.0",
        "JCGM 100:2008, 4.3.7, 5.1.2 and 6.3.3",
        "29 CFR 1910.265",
        "AS/NZS 1080.1",
        "T4-D2",
        "2026-10-15 14:30",
        "HB-26-034.1",
        "5/4 in",
        "127.0.0.1:8000",
        "tables-2.5.html",
        "1370 board feet",
    ],
)
def test_what_is_no_decimal_stays(words):
    for tag in OTHERS:
        assert language(tag).figures(words) == words


def test_a_page_keeps_data_code_and_peoples_words():
    page = (
        '<p data-mc="8.5" title="8.5 %">8.5 % <code>8.5</code> <span translate="no">Table 7.1</span>'
        ' <i lang="en">8.5 %</i> <i lang="fr">8.5 %</i> \ue0008.5\ue001</p>'
        '<script>x = 8.5</script><input value="8.5">'
    )
    assert interface("fr").page(page) == (
        '<p data-mc="8.5" title="8,5 %">8,5 % <code>8.5</code> <span translate="no">Table 7.1</span>'
        ' <i lang="en">8.5 %</i> <i lang="fr">8,5 %</i> 8.5</p>'
        '<script>x = 8.5</script><input value="8.5">'
    )


class Read(HTMLParser):
    """Collects what people read on a page, but for code and for words marked as another language's."""

    def __init__(self, html: str):
        super().__init__(convert_charrefs=True)
        self.said: list[str] = []
        self._open: list[bool] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        marked = tag != "html" and "lang" in found
        silent = marked or tag in {"code", "kbd", "pre", "script", "style"}
        silent |= found.get("translate") == "no"
        if not (silent or any(self._open)):
            self.said += [value for name, value in attrs if name in _READ and value]
        if tag not in _VOID:
            self._open.append(silent)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        if tag not in _VOID:
            self._open.pop()

    def handle_data(self, data):
        if data.strip() and not any(self._open):
            self.said.append(" ".join(data.split()))


@pytest.mark.parametrize("tag", OTHERS)
def test_no_page_of_a_mill_has_a_decimal_point(tag):
    mark = Locale.parse(tag).number_symbols["latn"]["decimal"]
    decimals = 0
    for page in shared_mill(tag=tag).pages:
        for words in Read(page.html).said:
            left = NO_DECIMALS.sub("", words)
            # a German point that groups stands before three digits, and after no zero
            left = (
                re.sub(r"(?<!\d)[1-9]\d{0,2}(?:\.\d{3})+(?!\d)", "", left) if tag == "de" else left
            )
            assert not re.search(r"\d\.\d", left), (page.path, words)
            decimals += len(re.findall(rf"\d{mark}\d", words))
    assert decimals > 1000
