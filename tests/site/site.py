"""A small mill with the whole library, read, reviewed and rendered, for the tests of pages."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from functools import cached_property
from html.parser import HTMLParser
from pathlib import Path

from tests.minimal import LIBRARY, Change, minimal_mill

from kilnfolio.archive.tokens import lot_token
from kilnfolio.calculators import render_calculators
from kilnfolio.handbook.chapter import Manuscript, read_manuscript
from kilnfolio.handbook.pages import render_handbook
from kilnfolio.rendering.page import Page
from kilnfolio.site.pages import render_customer, render_pages
from kilnfolio.rendering.templating import environment
from kilnfolio.records.folder import MillFolder, latest_moment, read_mill_folder
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.review import review_charge, review_lot

KEY = bytes(range(32))


@dataclass(frozen=True)
class Mill:
    """A mill folder and its reviews."""

    folder: MillFolder
    dossiers: dict[str, Dossier]
    lots: dict[str, LotDossier]
    tokens: dict[str, str]
    manuscript: Manuscript

    @cached_property
    def pages(self) -> list[Page]:
        """The pages of the mill edition, the handbook first."""
        return self.render()

    def render(self) -> list[Page]:
        """Render the pages of the mill edition, the handbook first."""
        env = environment(self.folder.mill.record)
        handbook = [*render_handbook(self.folder, env), render_calculators(self.folder, env)]
        records = render_pages(
            self.folder,
            self.dossiers,
            self.lots,
            env,
            self.tokens,
            latest_moment(self.folder).date(),
            manuscript=self.manuscript,
            handbook=handbook,
        )
        return [*handbook, *(page for page in records if page.path.endswith(".html"))]

    def customer(self) -> list[Page]:
        """Return the pages of the customer edition."""
        env = environment(self.folder.mill.record, menu=())
        return list(render_customer(self.folder, self.dossiers, self.lots, env, self.tokens))


def small_mill(root: Path, *, library: bool = False, **changes: Change) -> Mill:
    """Return the minimal mill, reviewed; with `library`, every species and schedule too."""
    minimal_mill(root)
    shutil.copytree(LIBRARY.parent / "content/handbook", root / "content/handbook")
    if library:
        for name in ("species", "hardwood", "softwood", "notations"):
            shutil.copytree(LIBRARY / name, root / "schedules" / name, dirs_exist_ok=True)
    else:
        shutil.rmtree(root / "content/handbook")
    if changes:
        minimal_mill(root, **changes)
    folder = read_mill_folder(root)
    dossiers = {name: review_charge(folder, name) for name in folder.charges}
    lots = {name: review_lot(folder, name, dossiers) for name in folder.lots}
    return Mill(
        folder,
        dossiers,
        lots,
        {name: lot_token(name, KEY) for name in lots},
        read_manuscript(root)[0],
    )


class Outline(HTMLParser):
    """What a page holds: the words of its main part, and its ids and links."""

    def __init__(self, html: str):
        super().__init__(convert_charrefs=True)
        self.ids: list[str] = []
        self.links: list[str] = []
        self._words: list[str] = []
        self._main = False
        self.feed(html)

    @property
    def text(self) -> str:
        """The words, spaces made one and plain."""
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
