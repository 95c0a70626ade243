"""The mill's own pages in another language: templates, words made in Python, and scripts.

Templates look their strings up themselves. Words made in Python are English when they reach a page;
a finished page is gone through once, and every text that is a string of the catalogue, or matches a
pattern of it, is replaced. What no translation knows stays as it is: the words of sealed records, of
the library and of books. An English sentence among them is marked as English, for whoever has the
page read out. Elements marked ``lang`` are left alone, and so are people's own words, a note or a name, even where
they happen to be words of the catalogue: ``{{ record.notes | entered }}`` marks them.

The same pass gives every figure the decimal mark of the language. Rooms above this one write figures
as the seals do, with a point; here a text is known to be read by a person and in which language,
which no formatter of numbers could know: data, addresses and code are no text of a page. Numbers
that only look like decimals (a table's, a version's) stand in elements marked ``translate="no"``.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Mapping
from functools import cached_property, lru_cache
from gettext import NullTranslations
from typing import Any

from jinja2 import Environment
from markupsafe import Markup, escape

from kilnfolio.rendering.compiled import PackageTemplate, escaped, marked
from kilnfolio.rendering.languages import (
    NBSP,
    catalogue,
    compiled,
    language,
)
from kilnfolio.rendering.script_words import translated_script

_SLOT = re.compile(r"\{(\w+)\}")
#: What a slot takes in a pattern of few words: a figure, with its unit. Else prose would match.
_FIGURE = r"(\S*\d\S*(?: \S{1,4})?)"
_WORDED = 8
_COUNTED = re.compile(r"(\d[\d .]*) ([^\W\d].*)")
_TAG = re.compile(r"(<!--.*?-->|<[^>]*>)", re.DOTALL)
_NAME = re.compile(r"</?([a-zA-Z][\w-]*)")
_READ_OUT = re.compile(
    r'((?:aria-label|aria-description|alt|title|placeholder|data-read)=")([^"]*)'
)
#: What stands round people's own words on a page until it is gone through: private characters.
_OPEN, _CLOSE = "\ue000", "\ue001"
_ENTERED = re.compile(f"{_OPEN}([^{_CLOSE}]*){_CLOSE}")
#: What stands round a value that no translation knows, set into a sentence of this language.
_FROM, _TO = "\ue002", "\ue003"
_FOREIGN = re.compile(f"{_FROM}([^{_TO}]*){_TO}")
#: Words of English sentences that are no words of the other languages.
_ENGLISH = re.compile(
    r"(?<![\w’'.-])(?:the|of|and|is|are|were|with|for|from|which|than|this|that|has|have|its|each|when"
    r"|who|should|must|they|their|there)(?![\w.-])",
    re.IGNORECASE,
)
#: Elements that hold text and nothing else.
_PLAIN = frozenset({"title", "option", "textarea", "text", "tspan", "desc"})
_LANG = re.compile(r' lang="([^"]*)"')
_VOID = frozenset({"br", "col", "hr", "img", "input", "link", "meta", "wbr"})
_SILENT = frozenset({"code", "kbd", "pre", "script", "style"})


class Interface:
    """The interface in one language.

    Parameters
    ----------
    tag : str
        Its language, for which there is a catalogue of the mill's pages.
    """

    def __init__(self, tag: str):
        self.language = language(tag)
        self._catalogue = catalogue(f"mill-{tag}")
        self.translations = compiled(self._catalogue)
        self.translations.add_fallback(self.language.translations)

    def say(self, words: str) -> str:
        """Return words made in Python or by a script in this language; unknown ones as they are."""
        if not words or len(words) > 600:
            return words
        known = self._known.get(words)
        if known is None:
            known = self._known[words] = self._said(words)
        return known

    def _said(self, words: str) -> str:
        given = words
        core = words.strip()
        if core != words:
            lead = words[: len(words) - len(words.lstrip())]
            return lead + self.say(core) + words[len(lead) + len(core) :]
        words = words.replace(NBSP, " ")
        for form, again in (
            (words, str),
            (_lowered(words), _raised),
            (_raised(words), self._within),
        ):
            if form in self._strings:
                return again(self._strings[form])
        for text, pattern, names, translation in self._patterns:
            if text in words and (found := pattern.fullmatch(words)):
                slots = dict(zip(names, found.groups(), strict=True))
                return _SLOT.sub(lambda slot: self.say(slots[slot[1]]), translation)  # noqa: B023
        if (counted := _COUNTED.fullmatch(words)) and (said := self._count(*counted.groups())):
            return said
        if " · " in words:  # a title and the mill's name
            return " · ".join(map(self.say, given.split(" · ")))
        if words.startswith((": ", "= ")):  # the end of a heading, or of a line of working
            return given[:2] + self.say(given[2:])
        return given

    def _count(self, number: str, counted: str) -> str:
        """Return a count with its noun in this language's plural; "" if the noun is not known."""
        forms = self._counts.get(counted)
        if forms is None:
            word = self.say(counted)
            return "" if word == counted else number + NBSP + word
        plain = int(re.sub(r"\D", "", number))
        one = "." not in number and self.language.locale.plural_form(plain) == "one"
        return forms[0 if one else 1].format(count=number)

    @cached_property
    def _counts(self) -> dict[str, tuple[str, ...]]:
        """The forms of each noun that is counted, by its singular and its plural."""
        found = {}
        for message in self._catalogue:
            if isinstance(message.id, tuple) and isinstance(message.string, tuple):
                for english in message.id:
                    if english.startswith("{count} ") and all(message.string):
                        found[english.removeprefix("{count} ")] = message.string
        return found

    def _within(self, words: str) -> str:
        """Return words that began a sentence as within one; a German noun keeps its capital."""
        return words if self.language.tag == "de" else _lowered(words)

    @cached_property
    def _known(self) -> dict[str, str]:
        return {}

    @cached_property
    def _strings(self) -> dict[str, str]:
        found = {}
        for message in self._catalogue:
            if message.id and isinstance(message.id, str) and message.string:
                english = message.id.replace(NBSP, " ")
                found[english] = str(message.string)
                # a page is looked at without the spaces at both ends of a text
                found.setdefault(english.strip(), str(message.string).strip())
        return found

    @cached_property
    def _patterns(self) -> tuple[tuple[str, re.Pattern[str], list[str], str], ...]:
        """Patterns with slots: the longest text first, which is looked for before the pattern."""
        found = []
        for english, translation in self._strings.items():
            names: list[str] = _SLOT.findall(english)
            texts = _SLOT.split(english)[::2]
            letters = sum(map(len, re.findall(r"[^\W\d_]+", " ".join(texts))))
            if not names or not letters:
                continue
            slot = "(.+?)" if letters >= _WORDED else _FIGURE
            pattern = re.compile(slot.join(map(re.escape, texts)), re.DOTALL)
            found.append((max(texts, key=len), pattern, names, translation))
        return tuple(sorted(found, key=lambda one: -sum(map(len, _SLOT.split(one[1].pattern)))))

    def page(self, text: str) -> str:
        """Return a page with the words made in Python in this language."""
        parts = _TAG.split(text)
        open_elements: list[tuple[str, str]] = []
        for place, part in enumerate(parts):
            if place % 2:
                if "=" in part and (told := self._teller(open_elements)):
                    parts[place] = _READ_OUT.sub(lambda one: one[1] + told(one[2], True), part)
                _follow(open_elements, part)
            elif part.strip() and (told := self._teller(open_elements)):
                plain = bool(open_elements) and open_elements[-1][0] in _PLAIN
                parts[place] = told(part, plain)
        return _FOREIGN.sub(r"\1", _ENTERED.sub(r"\1", "".join(parts)))

    def _teller(self, open_elements: list[tuple[str, str]]) -> Callable[[str, bool], str] | None:
        """Return what is done with text in these elements; None if it stays as it is."""
        marked = {language for _, language in open_elements if language}
        if not marked:
            return self._text
        return self._figures if marked == {self.language.tag} else None

    def _text(self, part: str, plain: bool) -> str:
        """Return a text in this language; `plain` if no element may be put into it."""
        if _OPEN in part:
            texts = _ENTERED.split(part)
            texts[::2] = (self._text(text, plain) for text in texts[::2])
            return "".join(texts)
        if _FROM in part:
            texts = _FOREIGN.split(part)
            texts[::2] = (self._text(text, plain) for text in texts[::2])
            texts[1::2] = (text if plain else _in_english(text) for text in texts[1::2])
            return "".join(texts)
        words = html.unescape(part)
        said = self.say(words)
        if said == words and not plain and _ENGLISH.search(words):
            return _in_english(part)
        told = self.language.figures(said)
        return part if told == words else str(Markup.escape(told))

    def _figures(self, part: str, _: bool) -> str:
        """Return text that people wrote in this language, its figures in the language's format."""
        return self.language.figures(part)

    def script(self, source: str) -> str:
        """Return a script with its words in this language."""
        return translated_script(source, lambda words: self._strings.get(words, words))

    def speak(self, env: Environment) -> None:
        """Make the templates of an environment speak this language."""
        install_translations(env, self.translations)
        spoken: dict[str, Any] = env.globals
        for name in ("gettext", "ngettext"):
            spoken[name] = self._with_values(spoken[name])
        spoken["_"] = spoken["gettext"]
        env.globals.update(in_english=Markup(' lang="en"'), as_written=_as_written)
        env.filters["entered"] = _entered
        env.template_class = _translated_template(self)

    def _with_values(self, look_up: Callable[..., Any]) -> Callable[..., Any]:
        def said(*words: Any, **values: Any) -> Any:
            """Look a string up, its values said in this language too."""
            translated = {
                name: self._value(value) if type(value) is str else value
                for name, value in values.items()
            }
            return look_up(*words, **translated)

        return said

    def _value(self, words: str) -> str:
        """Return a value of a sentence in this language, marked if no translation knows it."""
        said = self.say(words)
        return f"{_FROM}{words}{_TO}" if said == words and _ENGLISH.search(words) else said


def _in_english(part: str) -> str:
    return f'<span lang="en">{part}</span>'


def _as_written(text: str) -> Markup:
    """Return the text of a chapter, marked as English."""
    return Markup('<div class="as-written" lang="en">') + Markup(text) + Markup("</div>")


def _entered(words: object) -> Markup:
    """Return people's own words, one line or several, marked so that they stay as entered."""
    lines = re.sub(f"[{_OPEN}{_CLOSE}]", "", str(escape(words))).split("<br>")
    return Markup("<br>".join(f"{_OPEN}{line}{_CLOSE}" for line in lines))


def _translated_template(interface: Interface) -> type[PackageTemplate]:
    class TranslatedTemplate(PackageTemplate):
        """A template whose finished page is gone through for words made in Python."""

        def render(self, *args: Any, **kwargs: Any) -> str:
            return interface.page(super().render(*args, **kwargs))

    return TranslatedTemplate


def _follow(open_elements: list[tuple[str, str]], tag: str) -> None:
    """Open or close an element; an open one is its name and the language it is marked with.

    That is "" where it is marked with none. Code, and what is marked ``translate="no"``, has a
    language of its own.
    """
    found = _NAME.match(tag)
    if found is None or tag.endswith("/>") or found[1].lower() in _VOID:
        return
    if tag[1] == "/":
        if open_elements:
            open_elements.pop()
        return
    name = found[1].lower()
    marked = _LANG.search(tag) if name != "html" else None
    silent = name in _SILENT or ' translate="no"' in tag
    # ISO 639: zxx is no linguistic content
    open_elements.append((name, "zxx" if silent else marked[1] if marked else ""))


def _lowered(words: str) -> str:
    return words[:1].lower() + words[1:]


def _raised(words: str) -> str:
    return words[:1].upper() + words[1:]


@lru_cache(maxsize=4)
def interface(tag: str) -> Interface:
    """Return the interface in a language of `languages.interfaces`."""
    return Interface(tag)


def install_translations(env: Environment, translations: NullTranslations) -> None:
    """Make the templates of an environment look their strings up.

    Jinja's own functions take the context, which they copy for each call within a loop or block,
    only to ask whether escaping is on; here it always is.

    Parameters
    ----------
    env : Environment
        An environment that escapes, with the extension ``jinja2.ext.i18n``.
    translations : NullTranslations
        The catalogue.
    """
    # added by the extension at runtime, so type checkers do not know it
    env.install_gettext_translations(translations, newstyle=True)  # type: ignore[attr-defined]

    @lru_cache(maxsize=4096)
    def plain(words: str) -> Markup:
        return Markup(translations.gettext(words))

    @lru_cache(maxsize=4096)
    def whole(words: str) -> Markup:
        return plain(words) % {}

    def gettext(words: str, /, **values: Any) -> Markup:
        return _filled(plain(words), values) if values else whole(words)

    def ngettext(one: str, several: str, count: int, /, **values: Any) -> Markup:
        return _filled(translations.ngettext(one, several, count), {"num": count, **values})

    env.globals.update(gettext=gettext, ngettext=ngettext, _=gettext)


def _filled(words: str, values: Mapping[str, Any]) -> Markup:
    """Return a sentence of a catalogue with values in its places, all of which take text."""
    return marked(str.__mod__(words, {name: escaped(value) for name, value in values.items()}))
