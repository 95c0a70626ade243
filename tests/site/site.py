"""A small mill, reviewed and built, for the tests of pages, which read what a build wrote."""

from __future__ import annotations

import functools
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

from tests.conftest import made_once
from tests.minimal import LIBRARY, Change, minimal_mill
from tests.reviewed import reviewed_mill

from kilnfolio.archive.canonical import canonical
from kilnfolio.archive.tokens import make_token_key
from kilnfolio.handbook.chapter import Manuscript, read_manuscript
from kilnfolio.pipeline.build import build_site
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering.templating import environment
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.site.lot_record import RecordPack
from kilnfolio.site.pages.customer import CustomerLot, Served, customer_lot, render_lot
from kilnfolio.site.sealed import lot_addresses


@dataclass(frozen=True)
class Built:
    """A page of a built site."""

    path: str
    html: str


@dataclass(frozen=True)
class Mill:
    """A mill folder, its reviews, and its site."""

    folder: MillFolder
    dossiers: Mapping[str, Dossier]
    lots: Mapping[str, LotDossier]
    tokens: Mapping[str, str]
    manuscript: Manuscript
    shared: str = ""
    """Its name, if the processes sharing a run build it once between them."""

    @functools.cached_property
    def site(self) -> Path:
        """The folder of the editions, built without PDFs on first use."""
        out = self.folder.root / "site"

        def build(_: Path) -> None:
            build_site(self.folder.root, out, workers=1, pdfs=False)

        if self.shared:
            made_once(f"{self.shared}-site", build)
        else:
            build(out)
        return out

    @functools.cached_property
    def pages(self) -> list[Built]:
        """The pages of the mill edition."""
        return self._pages("mill")

    def customer(self) -> list[Built]:
        """Return the pages of the customer edition."""
        return self._pages("customer")

    def _pages(self, edition: str) -> list[Built]:
        home = self.site / edition
        return [
            Built(path.relative_to(home).as_posix(), path.read_text("utf-8"))
            for path in sorted(home.rglob("*.html"))
        ]

    def lot_page(
        self,
        lot: LotDossier,
        *,
        folder: MillFolder | None = None,
        dossiers: Mapping[str, Dossier] | None = None,
    ) -> str:
        """Return what a lot's customer would read if its review or records were different."""
        folder = folder or self.folder
        view = customer_lot(folder, "L1", dossiers or self.dossiers, lot, self.tokens["L1"])
        return render_lot(environment(folder.mill.record, menu=()), view, self.tokens["L1"]).html


def small_mill(root: Path, *, library: bool = False, **changes: Change) -> Mill:
    """Return the minimal mill, reviewed; with `library`, every species and schedule too."""
    _write(root, library=library, **changes)
    return _reviewed(root)


def _write(root: Path, *, library: bool = False, **changes: Change) -> None:
    minimal_mill(root)
    if library:
        shutil.copytree(LIBRARY.parent / "content/handbook", root / "content/handbook")
        for name in ("species", "hardwood", "softwood", "notations"):
            shutil.copytree(LIBRARY / name, root / "schedules" / name, dirs_exist_ok=True)
    if changes:
        minimal_mill(root, **changes)
    make_token_key(root / "keys/lot-addresses.key")


def _reviewed(root: Path, shared: str = "") -> Mill:
    reviewed = reviewed_mill(root)
    return Mill(
        reviewed.folder,
        reviewed.dossiers,
        reviewed.lots,
        {name: lot_addresses(reviewed.folder.graph, name).live[0] for name in reviewed.lots},
        read_manuscript(root)[0],
        shared,
    )


@functools.cache
def shared_mill(*, library: bool = False, tag: str = "en") -> Mill:
    """Return the minimal mill, made once for the whole run, for tests that change nothing.

    With `library` it has every species and schedule too; `tag` is the language of its own pages.
    """
    name = "mill-with-library" if library else "small-mill" if tag == "en" else f"mill-{tag}"
    spoken: dict[str, Change] = {} if tag == "en" else {"mill": {"language": tag}}
    return _reviewed(made_once(name, lambda root: _write(root, library=library, **spoken)), name)


class Outline(HTMLParser):
    """What a page contains: the words of its main part, its ids and its links."""

    def __init__(self, html: str):
        super().__init__(convert_charrefs=True)
        self.ids: list[str] = []
        self.links: list[str] = []
        self._words: list[str] = []
        self._main = False
        self.feed(html)

    @property
    def text(self) -> str:
        """The words, with runs of white space replaced by one space."""
        return " ".join("".join(self._words).replace("\u202f", " ").split())

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self._main |= tag == "main"
        if found.get("id"):
            self.ids.append(found["id"])
        self.links += [found[key] for key in ("href", "src", "action") if found.get(key)]
        self._words.append(" ")

    def handle_endtag(self, tag):
        self._main &= tag != "main"

    def handle_data(self, data):
        if self._main:
            self._words.append(data)


def with_words(view: CustomerLot, **words: object) -> CustomerLot:
    """Return a lot whose record says something else."""
    record = view.record.model_copy(update=words)
    return replace(view, served=Served(canonical(record).decode(), view.served.seal))


def packs(count: int) -> tuple[RecordPack, ...]:
    """Return packs as a record lists them."""
    return tuple(
        RecordPack(
            number=f"HB-26-{n:04d}-A", pieces=220, volume="2.1 m³ (890 board feet)", volume_m3=2.1
        )
        for n in range(count)
    )
