"""Customers' languages: text by Babel catalogues, numbers and dates by the CLDR.

A catalogue is a file in ``catalogues``, named after its language. It translates the strings of the
customer's templates, and the patterns of `phrases`, which translate the sealed words of a record.
"""

from __future__ import annotations

import datetime as dt
import gettext
import hashlib
import io
import json
import re
from collections.abc import Iterable
from functools import cached_property, lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any, TypeVar

from kilnfolio.rendering.phrases import (
    AS_WRITTEN,
    FIGURES,
    INDOORS,
    LABEL,
    PAGE,
    RECORD,
    Phrase,
)
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from babel import Locale
    from babel.messages.catalog import Catalog

#: The language in which records are written and sealed.
SEALED = "en"

_FOLDER = "catalogues"
_SLOT = re.compile(r"\{(\w+)\}")
_FIGURE = r"[\u2212-]?\d(?:[\d ./]*\d)?(?: (?:%|°C|°F|mm|m³|m|in|ft|minutes?))?"
_DECIMAL = re.compile(
    r"(?<![\d.])\d{1,3}(?: \d{3})+(?:\.\d+)?(?![\d.])|(?<![\d.])\d+\.\d+(?![\d.])"
)
#: A figure of a page as `review.figures` writes it: it has a decimal point, or digits in threes.
#: A paragraph of a law or a part of a standard is none: 29 CFR 1910.265, AS/NZS 1080.1.
_PRINTED = re.compile(
    r"(?<![\w.,/-])(?<!CFR )(?<!NZS )(?:\d{1,3}(?:\N{NO-BREAK SPACE}\d{3})+(?:\.\d+)?|\d+\.\d+)(?!\w|[.,/]\w|-\d)"
)
_MONTHS = [f"{dt.date(2000, month, 1):%B}" for month in range(1, 13)]
_DATE = re.compile(rf"(\d{{1,2}}) ({'|'.join(_MONTHS)}) (\d{{4}})")
_UNIT = re.compile(r" (?<=\d )(?=(?:%|°C|°F|mm|m³|m|in|ft|K)(?!\w))")
NBSP = "\N{NO-BREAK SPACE}"
S = TypeVar("S", bound=str)


@dataclass(frozen=True)
class _Rule:
    """A pattern and its translation."""

    pattern: str
    """A regular expression, also valid in browsers, with a group for each slot."""
    forms: tuple[str, ...]
    """Its translation, ``{0}`` being the first slot; several, by plural category, if it counts."""
    as_written: tuple[bool, ...]
    """For each slot, whether its words stay untranslated."""


class Language:
    """A language: its catalogue and its formats of numbers and dates.

    Parameters
    ----------
    tag : str
        One of `available`, such as ``fr``.

    Raises
    ------
    ValueError
        If there is no catalogue for it.
    """

    def __init__(self, tag: str):
        if tag not in available():
            raise ValueError(f"language is {tag!r}; there are {', '.join(available())}")
        self.tag = tag
        self.translations = (
            gettext.NullTranslations() if tag == SEALED else compiled(catalogue(tag))
        )

    @cached_property
    def locale(self) -> Locale:
        """Its conventions for numbers and dates."""
        from babel import Locale  # English pages need none of Babel

        return Locale.parse(self.tag)

    @property
    def name(self) -> str:
        """Its own name, such as ``français``."""
        return str(self.locale.get_display_name(self.locale))

    @property
    def safety(self) -> str:
        """The safety wording in this language."""
        return str(self.translations.gettext(SAFETY))

    @property
    def safety_digest(self) -> str:
        """The first digits of the SHA-256 of that wording, to which a mill's signature refers."""
        return hashlib.sha256(self.safety.encode()).hexdigest()[:8]

    def date(self, date: dt.date) -> str:
        """Return a date in words: 12 janvier 2026."""
        from babel.dates import format_date

        return format_date(date, "long", self.locale).replace(" ", NBSP, 1)

    def translate(self, words: str, *, verbatim: bool = False) -> str:
        """Return words of a record translated to this language.

        Parameters
        ----------
        words : str
            English words of a record or page.
        verbatim : bool
            Whether words that match no pattern stay entirely unchanged, as a claim must.
        """
        if self.tag == SEALED or not words:
            return words
        translated = self._translated(" ".join(words.split()))
        if translated is None:
            return words if verbatim else with_nbsp(self._localize_figures(" ".join(words.split())))
        return with_nbsp(translated)

    def knows(self, words: str) -> bool:
        """Return whether words match a pattern, or are only figures and units."""
        plain = " ".join(words.split())
        if self._translated(plain) is not None:
            return True
        return not re.search(r"[^\W\d_]{3}", _DATE.sub("", plain))

    def _translated(self, words: str) -> str | None:
        for rule in self._rules:
            if found := re.fullmatch(rule.pattern, words):
                slots = [
                    one if kept else self._translate_slot(one)
                    for one, kept in zip(found.groups(), rule.as_written, strict=True)
                ]
                return _filled(self._plural_form(rule, found.groups()), slots)
        return None

    def _translate_slot(self, words: str) -> str:
        translated = self._translated(words)
        return self._localize_figures(words) if translated is None else translated

    def _plural_form(self, rule: _Rule, slots: tuple[str, ...]) -> str:
        if len(rule.forms) == 1:
            return rule.forms[0]
        digits = re.sub(r"\D", "", next(slot for slot in reversed(slots) if slot[:1].isdigit()))
        return rule.forms[0 if self.locale.plural_form(int(digits)) == "one" else 1]

    def figures(self, words: str) -> str:
        """Return text of a page with its figures in this language's format."""
        return words if self.tag == SEALED else _PRINTED.sub(self._figure, words)

    def _figure(self, found: re.Match[str]) -> str:
        symbols = self.locale.number_symbols["latn"]
        whole, point, rest = found[0].partition(".")
        return re.sub(r"\s", symbols["group"], whole) + (symbols["decimal"] + rest if point else "")

    def _localize_figures(self, words: str) -> str:
        """Return words with figures and dates in this language's format; other words stay."""

        def date(found: re.Match[str]) -> str:
            return self.date(dt.date(int(found[3]), _MONTHS.index(found[2]) + 1, int(found[1])))

        return _DECIMAL.sub(self._figure, _DATE.sub(date, words))

    @cached_property
    def _rules(self) -> tuple[_Rule, ...]:
        return self._compiled((*RECORD, *LABEL, *PAGE))

    def _compiled(self, phrases: Iterable[Phrase]) -> tuple[_Rule, ...]:
        """Return rules for phrases, those with the most literal text first."""
        found = [
            (one, _rule(one, self._translations_of(phrase)))
            for phrase in phrases
            for one in ((phrase,) if isinstance(phrase, str) else phrase)
        ]
        found.sort(key=lambda pair: -len(_SLOT.sub("", pair[0])))
        return tuple(rule for _, rule in found)

    def _translations_of(self, phrase: Phrase) -> tuple[str, ...]:
        if isinstance(phrase, str):
            return (str(self.translations.gettext(phrase)),)
        return tuple(str(self.translations.ngettext(*phrase, n)) for n in (1, 2))

    @cached_property
    def script(self) -> str:
        """The script with which a page in this language is compared with its record."""
        from babel.dates import format_date

        symbols = self.locale.number_symbols["latn"]
        data = {
            "lang": self.tag,
            "decimal": symbols["decimal"],
            "group": symbols["group"],
            "months": [self.locale.months["format"]["wide"][month] for month in range(1, 13)],
            "english": _MONTHS,
            "date": format_date(dt.date(2000, 11, 28), "long", self.locale)
            .replace("28", "{0}")
            .replace(self.locale.months["format"]["wide"][11], "{1}")
            .replace("2000", "{2}"),
            "figure": _FIGURE,
            "rules": [
                [rule.pattern.replace(_FIGURE, "#"), *rule.forms]
                for rule in self._compiled((*RECORD, *LABEL, *INDOORS))
            ],
        }
        text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
        return f"window.kilnfolioSays={text};\n"


def with_nbsp(words: S) -> S:
    """Return words whose amounts do not break before the unit; markup stays markup."""
    return type(words)(_UNIT.sub(NBSP, words))


def _rule(english: str, translations: tuple[str, ...]) -> _Rule:
    names: list[str] = _SLOT.findall(english)
    places = {name: place for place, name in enumerate(names)}
    parts = _SLOT.split(english)
    pattern = "".join(
        re.sub(r"([.*+?^$()|\[\]\\])", r"\\\1", part)
        if place % 2 == 0
        else f"({_FIGURE})"
        if part in FIGURES
        else "(.+?)"
        for place, part in enumerate(parts)
    )

    def numbered(translation: str) -> str:
        return _SLOT.sub(
            lambda slot: f"{{{places[slot[1]]}{'!' if slot[1] in AS_WRITTEN else ''}}}", translation
        )

    return _Rule(
        pattern,
        tuple(numbered(translation) for translation in translations),
        tuple(name in AS_WRITTEN for name in names),
    )


def _filled(translation: str, slots: list[str]) -> str:
    return re.sub(r"\{(\d)!?\}", lambda slot: slots[int(slot[1])], translation)


@lru_cache(maxsize=1)
def available() -> tuple[str, ...]:
    """Return the available languages; first the one in which records are sealed."""
    folder = resources.files("kilnfolio.rendering") / _FOLDER
    tags = sorted(
        path.name.removesuffix(".po")
        for path in folder.iterdir()
        if path.name.endswith(".po") and not path.name.startswith("mill-")
    )
    return (SEALED, *tags)


@lru_cache(maxsize=1)
def interfaces() -> tuple[str, ...]:
    """Return the languages of the mill's own pages; first the one in which they are written."""
    folder = resources.files("kilnfolio.rendering") / _FOLDER
    return (SEALED, *(tag for tag in available() if (folder / f"mill-{tag}.po").is_file()))


@lru_cache(maxsize=8)
def language(tag: str) -> Language:
    """Return an available language."""
    return Language(tag)


def catalogue(name: str) -> Catalog:
    """Return the text of a catalogue: ``fr`` of customers' pages, ``mill-fr`` of the mill's own."""
    from babel.messages.pofile import read_po

    path = resources.files("kilnfolio.rendering") / _FOLDER / f"{name}.po"
    return read_po(io.StringIO(path.read_text("utf-8")), locale=name.removeprefix("mill-"))


def compiled(text: Catalog) -> Any:
    """Return a catalogue as translations that templates can look up."""
    from babel.messages.mofile import write_mo
    from babel.support import Translations

    data = io.BytesIO()
    write_mo(data, text)
    data.seek(0)
    return Translations(data)
