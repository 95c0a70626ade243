"""Every word of the interface is in a catalogue, wherever it is made.

Words made in Python and in scripts are collected by `tests.rendering.words`, which is tried here on
strings of its own; `test_languages` holds the catalogue to what it finds. A template is read as Jinja reads it. Text between its expressions is pieced together, an expression
standing as a blank, and parsed as HTML; strings within expressions are looked at one by one. What is
marked for translation has become a call by then, so any word left is one that no catalogue holds.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from importlib import resources

import pytest
from jinja2 import Environment, nodes
from tests.rendering.words import (
    ELSEWHERE,
    FILLED,
    HOUSE,
    OTHER_SCRIPTS,
    OTHERS,
    ROOMS,
    joined_words,
    page_words,
    python_modules,
    python_words,
    scripts,
)
from tests.rows import each_of

from kilnfolio.rendering.script_words import script_pieces, script_words, translated_script

ENVIRONMENT = Environment(
    extensions=["jinja2.ext.i18n"], trim_blocks=True, lstrip_blocks=True, autoescape=True
)
ENVIRONMENT.newstyle_gettext = True  # type: ignore[attr-defined]
HOME = resources.files("kilnfolio.site") / "templates"
#: What stands for an expression in the text of a template.
BLANK = "\N{OBJECT REPLACEMENT CHARACTER}"
#: Attributes that people read or hear.
SPOKEN = {"alt", "aria-label", "aria-description", "content", "label", "placeholder", "title"}
#: Elements whose text is code, or nothing to read.
CODE = {"code", "kbd", "pre", "script", "style"}
#: The calls that look a string up.
MARKED = {"_", "gettext", "ngettext", "pgettext"}
#: Filters whose argument or input is a key: `term` translates its word itself.
KEYS = {"term", "to", "selectattr", "rejectattr", "map", "sort", "groupby", "join", "measure"}
KEYS |= {"said"}  # a pattern of `phrases`, which the catalogues hold
#: Names and notations, the same in every language.
SAME = {
    "DB", "WB", "EMC", "MC", "RH", "MCs", "kg", "kWh", "mm", "kPa", "kilnfolio", "PDF",
}  # fmt: skip
#: An attribute that a macro writes into a tag elsewhere.
_ATTRIBUTE = re.compile(r'[\w-]+="[^"]*"')
_WORD = re.compile(r"[^\W\d_]{2,}")
#: A string within an expression that people read: with a space between words, or a capital.
_READ = re.compile(r"[^\W\d_]{2,}[,;:.]? [^\W\d_]|^[A-Z][a-z]{2,}")


def _names(folder=HOME, path: str = "") -> Iterator[str]:
    for entry in sorted(folder.iterdir(), key=lambda one: one.name):
        if entry.is_dir():
            yield from _names(entry, f"{path}{entry.name}/")
        elif entry.name.endswith(".html"):
            yield path + entry.name


NAMES = tuple(_names())


def _text(node: nodes.Node) -> Iterator[str]:
    """Yield the text of a template in its order, a blank for what an expression prints."""
    for child in node.iter_child_nodes():
        if isinstance(child, nodes.TemplateData):
            yield child.data
        elif isinstance(node, nodes.Output):
            yield BLANK
        elif isinstance(child, nodes.Stmt):
            yield from _text(child)


class _Words(HTMLParser):
    """Collects the words of markup: text outside code, and attributes people read."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._skipped: list[bool] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        # words in another language than the page's are English on purpose
        self._skipped.append(tag in CODE or found.get("lang") == "en")
        if tag in _VOID:
            self._skipped.pop()
        for attribute, value in attrs:
            if attribute not in SPOKEN or (
                attribute == "content" and found.get("name") not in _DESCRIBING
            ):
                continue
            self._keep(value or "")

    def handle_endtag(self, tag: str) -> None:
        if self._skipped and tag not in _VOID:
            self._skipped.pop()

    def handle_data(self, data: str) -> None:
        if not any(self._skipped):
            self._keep(data)

    def _keep(self, text: str) -> None:
        text = _ATTRIBUTE.sub(" ", text)
        if any(word not in SAME for word in _WORD.findall(text.replace(BLANK, " "))):
            self.found.append(" ".join(text.replace(BLANK, "…").split()))


#: The names of <meta> whose content is read to people; keywords are for machines.
_DESCRIBING = {"description"}
#: Elements without an end.
_VOID = {"br", "col", "hr", "img", "input", "link", "meta"}


def _strings(node: nodes.Node) -> Iterator[str]:
    """Yield the strings an expression may print, without those marked and those that are keys."""
    if isinstance(node, nodes.Call) and getattr(node.node, "name", "") in MARKED:
        for value in node.kwargs:
            yield from _strings(value)
        return
    if isinstance(node, nodes.Compare | nodes.Test | nodes.Getitem):
        return
    if isinstance(node, nodes.Filter) and node.name in KEYS:
        if node.name == "join" and node.node is not None:
            yield from _strings(node.node)
        return
    if isinstance(node, nodes.Const) and isinstance(node.value, str):
        yield node.value
    for child in node.iter_child_nodes():
        yield from _strings(child)


def unmarked(source: str) -> list[str]:
    """Return the words of a template's source that are in no catalogue."""
    tree = ENVIRONMENT.parse(source)
    words = _Words()
    words.feed("".join(_text(tree)))
    words.close()
    inside = [one for one in _strings(tree) if _READ.search(one) and one not in SAME]
    return words.found + inside


@pytest.mark.parametrize("name", NAMES)
def test_every_word_of_a_template_is_in_a_catalogue(name):
    assert unmarked((HOME / name).read_text("utf-8")) == []


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("<p>Nobody marked this.</p>", ["Nobody marked this."]),
        ('<p>{{ _("Marked") }}</p>', []),
        ("<p>{% trans n=x %}{{ n }} boards{% endtrans %}</p>", []),
        ("<p>{{ n }} boards</p>", ["… boards"]),
        ("<p>{% if n %}of {{ n }}{% endif %}</p>", ["of …"]),
        ('<nav aria-label="Steps">', ["Steps"]),
        ('<input placeholder="{{ _("Search") }}" name="board">', []),
        ('<p>{{ "So far" if open else "Took" }}</p>', ["So far", "Took"]),
        ('<p>{{ how(view.how, "length", "The length") }}</p>', ["The length"]),
        ('<p>{{ _("%(words)s", words="The length") }}</p>', ["The length"]),
        ("{% macro m() %}<b>Inside a macro</b>{% endmacro %}", ["Inside a macro"]),
        ("{% call m() %}<b>Called</b>{% endcall %}", ["Called"]),
        ("<code>kilnfolio build</code><style>body {}</style>", []),
        (
            '{% if language.tag == "en" %}<p>Here</p>{% else %}<p>There</p>{% endif %}',
            ["Here", "There"],
        ),
        ('<p lang="en">Kept in English.</p><p>Not kept.</p>', ["Not kept."]),
        ("<svg><text>dry bulb</text></svg>", ["dry bulb"]),
        ('<p>{{ "Timber" | term }} {{ x if y == "No data" }}</p>', []),
    ],
)
def test_a_word_outside_the_catalogue_is_found(source, words):
    assert unmarked(source) == words


def test_there_are_templates_to_read():
    assert len(NAMES) > 60


# --- words made in Python and in scripts ----------------------------------------------------------


def test_every_room_is_read_or_says_why_not():
    rooms = {path.name for path in HOUSE.iterdir() if path.is_dir() and path.name[0] != "_"}
    assert rooms == {*ROOMS, *ELSEWHERE}
    assert all((HOUSE / name).exists() for name in OTHERS)
    assert {path.name for path in (HOUSE / "site/assets").glob("*.js")} == {
        *(path.name for path in scripts()),
        *OTHER_SCRIPTS,
    }


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ('title = "Sample boards"', ["Sample boards"]),
        ('title = f"{n:.0f} boards of {charge.record.id}"', ["{n} boards of {id}"]),
        ('said = f"{a.mean} and {b.mean}"', ["{mean} and {mean_2}"]),
        ('line("Two lines " "of one sentence.")', ["Two lines of one sentence."]),
        ('raise ValueError("it must be above 0")', []),
        ('def f():\n    """Say what it does."""', []),
        ('if word == "no data": pass', []),
        ('key = "no-data"', []),
    ],
)
def test_words_in_python_are_found(source, words):
    assert list(python_words(source)) == words


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ('say("No mass is written.");', ["No mass is written."]),
        ("say(`Code ${at + 1} of ${codes.length}`);", ["Code {at} of {length}"]),
        ('say("cut to " + "fit a line");', ["cut to fit a line"]),
        ('say(`${n} ${n === 1 ? "one board" : `${n} boards`} left`);', ["one board", "{n} boards"]),
        ('// "Not said here"\n/* "nor here" */', []),
        ('text.replace(/"/g, "Quoted twice");', ["Quoted twice"]),
        ('if (event.key === "Escape") close();', []),
        ('document.querySelector(".due tbody");', []),
    ],
)
def test_words_in_scripts_are_found(source, words):
    assert set(script_words(source)) - {"{n} {value} left", "{n} {boards} left"} == set(words)


def test_words_in_a_page_with_its_script_are_found():
    page = "<title>Check it</title><p>Take\n <b>it</b>.</p><label>A file: <input></label>"
    script = '<script>say("No bag here.");</script>'
    assert [*page_words(page + script)] == [
        "Check it",
        "Take <b>it</b>.",
        "A file:",
        "No bag here.",
    ]


@each_of(tuple(python_modules(FILLED)), name=lambda path: path.stem)
def test_no_sentence_is_put_together_in_python(path):
    assert list(joined_words(path.read_text("utf-8"))) == []


@pytest.mark.parametrize("path", tuple(scripts()), ids=lambda path: path.name)
def test_no_sentence_is_put_together_in_a_script(path):
    assert list(script_pieces(path.read_text("utf-8"))) == []


def test_a_sentence_put_together_is_found():
    assert list(joined_words('"Signed by " + name')) == ["Signed by "]
    assert list(script_pieces('"Dry bulb " + shown(dry)')) == ["Dry bulb "]


@pytest.mark.parametrize(
    ("source", "result"),
    [
        ('say("Not shared.");', 'say("[Not shared.]");'),
        ("say(`Code ${at + 1} of ${n}`);", "say(`[Code ${at + 1} of ${n}]`);"),
        ('say("one line " +\n  `of ${n} boards`);', "say(`[one line of ${n} boards]`);"),
        ('say(`${n ? "No mass" : ""} ${unit}`);', 'say(`${n ? "[No mass]" : ""} ${unit}`);'),
        ('if (key === "Escape") hide("is-late");', 'if (key === "Escape") hide("is-late");'),
        ('// "Not said"\nsay("done");', '// "Not said"\nsay("done");'),
    ],
)
def test_words_of_a_script_are_replaced_by_their_translation(source, result):
    assert translated_script(source, lambda words: f"[{words}]") == result


def test_a_script_whose_words_stay_is_not_touched():
    for path in scripts():
        source = path.read_text("utf-8")
        assert translated_script(source, str) == source
