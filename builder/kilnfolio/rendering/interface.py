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
#: What a slot takes in a pattern of few words: a figure with its unit, or a time. Else prose would match.
_FIGURE = r"(\S*\d\S*(?: \S{1,4})?(?: \d\d:\d\d)?)"
_WORDED = 8
_AT = re.compile(r"(\d\d? [A-Z][a-z]{2}) (\d\d:\d\d)")
#: What stands between the parts of a text that are said one by one, if each of them is known.
_SENTENCES = (re.compile(r"(?<=[.!?])( )(?=[A-Z])"), re.compile("(; )"))
_CLAUSES = (re.compile("(, )"),)
_COUNTED = re.compile(r"(\d[\d .]*) ([^\W\d].*)")
#: A word, as opposed to a unit or a tag.
_WORD = re.compile(r"[^\W\d_]{3}")
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
        if said := self._in_parts(words, _SENTENCES):
            return said
        for text, first, pattern, names, translation in self._patterns:
            if text in words and (found := pattern.fullmatch(words)):
                slots = dict(zip(names, found.groups(), strict=True))
                said = _SLOT.sub(lambda slot: self.say(slots[slot[1]]), translation)  # noqa: B023
                return said if first in ("", words[0]) else self._begun_as(words, said)
        if at := _AT.fullmatch(words):
            return f"{self.say(at[1])} {at[2]}"
        if said := self._in_parts(words, _CLAUSES):
            return said
        if (counted := _COUNTED.fullmatch(words)) and (said := self._count(*counted.groups())):
            return said
        if " · " in words:  # a title and the mill's name
            return " · ".join(map(self.say, given.split(" · ")))
        if words.startswith((": ", "= ")):  # the end of a heading, or of a line of working
            return given[:2] + self.say(given[2:])
        return given

    def _in_parts(self, words: str, marks: tuple[re.Pattern[str], ...]) -> str:
        """Return a text with each of its parts in this language; "" if one is not known."""
        for mark in marks:
            parts = mark.split(words)
            if len(parts) == 1:
                continue
            said = [self.say(part) for part in parts[::2]]
            known = [
                new != old or not _WORD.search(old)
                for new, old in zip(said, parts[::2], strict=True)
            ]
            if said != parts[::2] and all(known):
                parts[::2] = said
                return "".join(parts)
        return ""

    def _begun_as(self, words: str, said: str) -> str:
        """Return a translation with a capital where its English has one."""
        return _raised(said) if words[:1].isupper() else self._within(said)

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
    def _patterns(self) -> tuple[tuple[str, str, re.Pattern[str], list[str], str], ...]:
        """Patterns with slots, the longest first.

        Before each stands its longest text, which is looked for before the pattern, and the letter it begins with, which
        may be a capital or not; "" if it begins with a slot.
        """
        found = []
        for english, translation in self._strings.items():
            names: list[str] = _SLOT.findall(english)
            texts = _SLOT.split(english)[::2]
            letters = sum(map(len, re.findall(r"[^\W\d_]+", " ".join(texts))))
            if not names or not letters:
                continue
            slot = "(.+?)" if letters >= _WORDED else _FIGURE
            text, begun = max(texts, key=len), list(map(re.escape, texts))
            first = english[0] if texts[0] and english[0].isalpha() else ""
            if first:
                begun[0] = f"[{first.lower()}{first.upper()}]{re.escape(texts[0][1:])}"
                text = text[1:] if text is texts[0] else text
            pattern = re.compile(slot.join(begun), re.DOTALL)
            found.append((text, first, pattern, names, translation))
        return tuple(sorted(found, key=lambda one: -sum(map(len, _SLOT.split(one[2].pattern)))))

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
