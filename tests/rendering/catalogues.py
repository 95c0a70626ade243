"""Every string of the interface, and catalogues brought up to date: a tool for translators.

``python -m tests.rendering.catalogues fr`` rewrites the catalogue of what customers read: what is new
stands in it empty, what is said no longer is gone. ``python -m tests.rendering.catalogues mill`` does
so with ``mill.pot``, the strings of the mill's and the auditor's pages, and ``mill-fr`` with their translation:
of templates, and of the Python and the scripts that fill them. There a value set into a sentence
stands as ``%(name)s`` in a template and as ``{name}`` elsewhere.
"""

import io
import sys
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po, write_po
from tests.conftest import PROJECT
from tests.rendering.words import (
    ROOMS,
    VERIFIER,
    choices,
    page_words,
    python_modules,
    python_words,
    scripts,
)

from kilnfolio.records.region import regions
from kilnfolio.rendering.phrases import LABEL, PAGE, RECORD
from kilnfolio.rendering.routes import AUDITOR_MENU, FOOT, MENU
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.rendering.script_words import script_words
from kilnfolio.review import checks as _registered  # noqa: F401  fills the registry
from kilnfolio.review.findings import CHECKS
from kilnfolio.site.pages.phrases import COUNTED

TEMPLATES = PROJECT / "builder/kilnfolio/site/templates"
FOLDER = PROJECT / "builder/kilnfolio/rendering/catalogues"
#: Templates of what customers read.
READ = (
    "customer_lot.html",
    "customer_facts.html",
    "lot_record.html",
    "labels.html",
    "safety_wording.html",
)


def messages() -> Iterator[str | tuple[str, str]]:
    """Yield every string, those that count as a singular and its plural."""
    yield SAFETY
    yield from (*RECORD, *LABEL, *PAGE)
    for name in READ:
        yield from _extracted(TEMPLATES / name)


def _extracted(path: Path) -> Iterator[str | tuple[str, str]]:
    for _, message, _, _ in extract_from_file("jinja2", path):
        yield tuple(message[:2]) if isinstance(message, tuple) else message


def _templates_and_menus() -> Iterator[str | tuple[str, str]]:
    for words, _ in (*MENU, *AUDITOR_MENU, *FOOT):
        yield words
    for region in regions().values():
        yield from (custom.is_ for custom in region.words.values())
    for path in sorted(TEMPLATES.rglob("*.html")):
        if path.name not in READ:
            yield from _extracted(path)


def _python(rooms: tuple[str, ...]) -> Iterator[str]:
    for path in python_modules(rooms):
        yield from python_words(path.read_text("utf-8"))


def _scripts() -> Iterator[str]:
    for path in scripts():
        yield from script_words(path.read_text("utf-8"))


def mill_catalogue() -> Catalog:
    """Return the strings of the mill's own pages: templates, Python, scripts, the verifier."""
    found = Catalog(charset="utf-8", fuzzy=False)
    verifier = page_words(VERIFIER.read_text("utf-8"))
    for message in (
        *_templates_and_menus(),
        *_python(ROOMS),
        *_counted(),
        *choices(),
        *_scripts(),
        *verifier,
    ):
        found.add(message)
    return found


#: Rooms whose words a translation of the mill's own pages must know. Those of the others are sealed
#: with records, or belong to problems and chapters, and stay in the language they are written in.
SPOKEN = ("rendering", "forecast", "trends", "charts", "calculators", "site")


def _checks() -> Iterator[str]:
    """Yield what the registry of checks says of each; the sentence of a finding stays as sealed."""
    for check in CHECKS.values():
        yield from (check.title, check.passes, check.reason, check.group, check.claim)


def _counted() -> Iterator[tuple[str, ...]]:
    """Yield what pages count, as a singular and a plural."""
    for pair in COUNTED.items():
        yield tuple("{count} " + words for words in pair)


def spoken() -> Iterator[str | tuple[str, str]]:
    """Yield the strings of the mill's own pages that a translation must know."""
    yield from _templates_and_menus()
    yield from _python(SPOKEN)
    yield from _checks()
    yield from _counted()
    yield from choices()
    yield from _scripts()


def catalogue(name: str) -> Catalog:
    """Return a catalogue of the strings of today, with the translations there are.

    Parameters
    ----------
    name : str
        ``fr`` for customers' pages, ``mill-fr`` for the mill's own.
    """
    path, tag = FOLDER / f"{name}.po", name.removeprefix("mill-")
    old = read_po(io.StringIO(path.read_text("utf-8")), locale=tag) if path.exists() else Catalog()
    new = Catalog(locale=tag, charset="utf-8", fuzzy=False)
    for message in messages() if tag == name else spoken():
        known = old.get(message if isinstance(message, str) else message[0])
        new.add(message, known.string if known else None)
    return new


def write(path: Path, found: Catalog) -> None:
    """Write a catalogue without dates, so that it changes only with its words."""
    text = io.BytesIO()
    write_po(text, found, width=100, omit_header=True, sort_output=False)
    head = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n'
    if found.locale:
        head += f'"Language: {found.locale}\\n"\n'
        head += f'"Plural-Forms: {found.plural_forms}\\n"\n'
    head += "\n"
    path.write_text(head + text.getvalue().decode("utf-8").lstrip("\n"), "utf-8")


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for wanted in sys.argv[1:]:
        if wanted == "mill":
            write(FOLDER / "mill.pot", mill_catalogue())
        else:
            write(FOLDER / f"{wanted}.po", catalogue(wanted))
