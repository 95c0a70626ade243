"""Every string that customers read, and catalogues brought up to date: a tool for translators.

``python -m tests.rendering.catalogues fr`` rewrites a catalogue: what is new stands in it empty, what
is said no longer is gone.
"""

import io
import sys
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po, write_po
from tests.conftest import PROJECT

from kilnfolio.rendering.phrases import LABEL, PAGE, RECORD
from kilnfolio.rendering.safety import SAFETY

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
        for _, message, _, _ in extract_from_file("jinja2", TEMPLATES / name):
            yield tuple(message[:2]) if isinstance(message, tuple) else message


def catalogue(tag: str) -> Catalog:
    """Return a catalogue of the strings of today, with the translations there are."""
    path = FOLDER / f"{tag}.po"
    old = read_po(io.StringIO(path.read_text("utf-8")), locale=tag) if path.exists() else Catalog()
    new = Catalog(locale=tag, charset="utf-8", fuzzy=False)
    for message in messages():
        known = old.get(message if isinstance(message, str) else message[0])
        new.add(message, known.string if known else None)
    return new


def write(path: Path, found: Catalog) -> None:
    """Write a catalogue without dates, so that it changes only with its words."""
    text = io.BytesIO()
    write_po(text, found, width=100, omit_header=True, sort_output=False)
    head = f'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n"Language: {found.locale}\\n"\n'
    head += f'"Plural-Forms: {found.plural_forms}\\n"\n\n'
    path.write_text(head + text.getvalue().decode("utf-8").lstrip("\n"), "utf-8")


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for wanted in sys.argv[1:]:
        write(FOLDER / f"{wanted}.po", catalogue(wanted))
