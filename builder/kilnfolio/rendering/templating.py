"""The template environment: escaping on, missing names refused, uniform number formats.

Every page of the mill edition extends ``layout.html``; see the comment at its head for its blocks.
A template computes nothing; it prints a view model.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from jinja2 import Environment, pass_context
from jinja2.runtime import Context
from markupsafe import Markup, escape

from kilnfolio.physics.air import pressure_at_altitude
from kilnfolio.records.mill import Mill
from kilnfolio.records.quantities import Quantity, fahrenheit_from_celsius
from kilnfolio.records.sourced import STATUS_MEANING, in_words
from kilnfolio.rendering.compiled import PackageEnvironment, escaped, marked
from kilnfolio.rendering.interface import install_translations, interface
from kilnfolio.rendering.languages import SEALED, Language, language, with_nbsp
from kilnfolio.rendering.own import NOTHING, Own
from kilnfolio.rendering.regional import PLAIN, RegionalFormat, regional_format
from kilnfolio.rendering.routes import FOOT, MENU, relative, root_of
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.unbroken import unbroken
from kilnfolio.review import figures
from kilnfolio.review.working import board_line

#: Element for the read-out of ``assets/charts.js``; hidden without script.
READ_OUT = Markup('<p class="readout" role="status">{}</p>').format(
    "Point at it, touch it, or move through it with the arrow keys."
)

#: Words printed for a value's status; the title attribute holds the meaning.
STATUS_WORDS = {
    "read": "read",
    "memory": "from memory, unconfirmed",
    "common practice": "common practice, no source",
    "mill": "set by this mill",
}


def environment(
    mill: Mill,
    *,
    menu: tuple[tuple[str, str], ...] = MENU,
    pdfs: bool = True,
    tag: str = SEALED,
    own: Own = NOTHING,
) -> Environment:
    """Return the template environment of one mill's pages.

    Parameters
    ----------
    mill : Mill
        The mill.
    menu : tuple of (str, str)
        Words and paths of the site's menu; empty for an edition without one.
    pdfs : bool
        Whether the site has PDFs; without them, pages do not link to any.
    tag : str
        Language of the pages; see `languages.available`.
    own : Own
        Additions of the mill's own brand and theme.
    """
    env = PackageEnvironment(keep_trailing_newline=True)
    regional = regional_format(mill)
    set_language(env, language(tag), signed=mill.has_signed(tag, language(tag).safety_digest))
    # sealed sentences and chapters are marked as English on a page in another language
    env.globals.update(in_english="", as_written=Markup)
    env.globals.update(
        mill=mill,
        regional=regional,
        menu=menu,
        foot=FOOT if menu else (),
        SAFETY=SAFETY,
        READ_OUT=READ_OUT if menu else "",  # for editions with the script that reads charts out
        pressure_pa=round(float(pressure_at_altitude(mill.altitude.value / 1000.0))),
        degree=regional.temperature_scale.unit,
        kelvin=regional.difference_scale.unit,
        searchable=bool(menu),
        pdfs=pdfs,
        own=own,
    )
    env.filters.update(_FILTERS)
    env.filters.update(moment=_moment(mill), to=_link, day_of=_day_of(mill))
    env.filters.update(
        quantity=lambda value: quantity(value, regional),
        # {{ temp_c | degrees }} and {{ difference_k | kelvins }}: bare numbers in the region's unit
        degrees=lambda value, decimals=1: _scaled(regional.temperature_scale, value, decimals),
        kelvins=lambda value, decimals=1: _scaled(regional.difference_scale, value, decimals),
        difference=regional.difference,
        temperature=regional.temperature,  # {{ temp_c | temperature }}: 43.3 °C (110 °F)
        localized=regional.localized,  # {{ view.size | localized }}: words in the region's order
        term=_term,
    )
    if menu and tag != SEALED:
        interface(tag).speak(env)
    return env


def set_language(env: Environment, lang: Language, *, signed: bool) -> None:
    """Set the language of an environment's templates.

    Parameters
    ----------
    env : Environment
        Environment of a page, a PDF or a sheet of labels.
    lang : Language
        The language.
    signed : bool
        Whether the mill has signed the safety wording in that language.
    """
    install_translations(env, lang.translations)
    env.globals.update(language=lang, safety_signed=signed or lang.tag == SEALED, SAFETY=SAFETY)
    env.filters.update(
        said=_said_in(lang),
        drawn=_drawn_in(lang),
        day=_day,
        outcome=outcome,
        figures=lang.figures,  # {{ field.value | figures }}: in an attribute that people read
    )


def render(env: Environment, template: str, path: str, **values: Any) -> str:
    """Return a page as HTML.

    Parameters
    ----------
    env : Environment
        From `environment`.
    template : str
        Its file name.
    path : str
        Path of the page in the edition, for relative links.
    **values
        Variables of the template. `title` is required; `crumbs`, `summary` and `robots` are
        optional.
    """
    values.setdefault("crumbs", ())
    values.setdefault("summary", "")
    values.setdefault("robots", "")
    return unbroken(env.get_template(template).render(here=path, root=root_of(path), **values))


# --- filters --------------------------------------------------------------------------------------


@pass_context
def _link(context: Context, target: str) -> str:
    """``{{ target | to }}``: the relative address of a page or file of the edition."""
    return relative(target, context["here"])


@pass_context
def _term(context: Context, word: str) -> str:
    """``{{ "Timber" | term }}``: the region's word; never constant-folded by the compiler."""
    regional: RegionalFormat = context["regional"]
    return regional.term(word)


def _moment(mill: Mill) -> Callable[[dt.datetime], Markup]:
    def moment(at: dt.datetime) -> Markup:
        """``{{ at | moment }}``: local date, time and zone."""
        local = at.astimezone(mill.zone)
        stamp = local.isoformat(timespec="minutes")
        # on a phone the date stands above it
        clock = f"<span>{stamp[11:16]}{figures.NBSP}{local.tzname()}</span>"
        return marked(f'<time datetime="{stamp}">{stamp[:10]} {clock}</time>')

    return moment


def _said_in(lang: Language) -> Callable[..., str]:
    @lru_cache(maxsize=4096, typed=True)  # markup and plain words that are equal stay apart
    def said(words: str, verbatim: bool = False) -> str:
        """``{{ view.statement | said }}``: words of a record in the page's language."""
        return with_nbsp(lang.translate(words, verbatim=verbatim))

    return said


def _drawn_in(lang: Language) -> Callable[[Markup], Markup]:
    def translated(found: re.Match[str]) -> str:
        return found[1] + str(escape(lang.translate(Markup(found[2]).unescape())))

    def drawn(drawing: Markup) -> Markup:
        """``{{ view.chart.svg | drawn }}``: a drawing with its text in the page's language."""
        return drawing if lang.tag == SEALED else Markup(_DRAWN_WORDS.sub(translated, drawing))

    return drawn


#: Text of a drawing: between tags, and for the read-out.
_DRAWN_WORDS = re.compile(r"""(>|data-read=")([^<>"]*[^\W\d_][^<>"]*)(?=<|")""")


@pass_context
def _day(context: Context, date: dt.date) -> str:
    """``{{ date | day }}``: a date in the page's language."""
    lang: Language = context["language"]
    return day(date) if lang.tag == SEALED else lang.date(date)


def _day_of(mill: Mill) -> Callable[[Context, dt.datetime], str]:
    @pass_context
    def day_of(context: Context, at: dt.datetime) -> str:
        """``{{ at | day_of }}``: the date of a time at the mill."""
        return _day(context, at.astimezone(mill.zone).date())

    return day_of


def day(date: dt.date) -> str:
    """Return a date in words: 12 January 2026."""
    return f"{date.day}{figures.NBSP}{date:%B %Y}"


def quantity(value: Quantity | None, regional: RegionalFormat = PLAIN) -> Markup:
    """``{{ q | quantity }}``: both unit systems, keeping the words as entered."""
    if value is None:
        return marked(figures.NOTHING)
    first, second = regional.both(value)
    other = f' <span class="fact other">({escaped(second)})</span>' if second else ""
    return marked(f'<span class="fact">{escaped(first)}</span>{other}')


def status(word: str) -> Markup:
    """``{{ known.status | status }}``: the status of a value, in words."""
    look, meaning, words = word.replace(" ", "-"), STATUS_MEANING[word], STATUS_WORDS[word]
    return marked(f'<span class="status-{look}" title="{escaped(meaning)}">{escaped(words)}</span>')


def outcome(word: str, words: str = "") -> Markup:
    """``{{ finding.outcome | outcome }}``: a shape and a word, then a colour."""
    look = escaped(word.replace(" ", "-"))
    return marked(f'<span class="outcome outcome-{look}">{escaped(words or word)}</span>')


def _scaled(scale: figures.Scale, value: float | None, decimals: int) -> str:
    return figures.NOTHING if value is None else figures.number(scale.of(value), decimals)


def _celsius(value: float | None, decimals: int = 1) -> str:
    return figures.measure(value, "°C", decimals)


def _fahrenheit(value: float | None, decimals: int = 0) -> str:
    """``{{ temp_c | fahrenheit }}``: a temperature given in °C, printed in °F."""
    return (
        figures.NOTHING
        if value is None
        else figures.measure(fahrenheit_from_celsius(value), "°F", decimals)
    )


_FILTERS: dict[str, Callable[..., Any]] = {
    "number": figures.number,  # {{ x | number(1) }}
    "measure": figures.measure,  # {{ x | measure("kg", 0) }}
    "percent": lambda value, decimals=1: figures.measure(value, "%", decimals),
    "celsius": _celsius,
    "fahrenheit": _fahrenheit,
    "day": _day,
    "status": status,
    "among": lambda workings, ids: [one for one in workings.values() if one.id in ids],
    "in_words": in_words,  # {{ working.source | in_words(publications) }}
    "outcome": outcome,
    "board_line": board_line,
    "entered": lambda words: words,  # {{ record.notes | entered }}: never translated
    "sentence": lambda text: str(text)[:1].upper() + str(text)[1:],
    "words": lambda text: Markup("<br>").join(escape(line) for line in str(text).splitlines()),
}
