"""Read a built site as a browser would: links, anchors, ids, addresses outside."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

#: Attributes that name another file or place.
ADDRESSES = {"href", "src", "action", "poster", "data", "srcset", "xlink:href"}


@dataclass
class Reading:
    """What a page names."""

    ids: set[str] = field(default_factory=set)
    repeated: set[str] = field(default_factory=set)
    links: list[str] = field(default_factory=list)
    named: list[tuple[str, str]] = field(default_factory=list)
    """The words of each link and where it leads."""
    text: str = ""


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found = Reading()
        self._words: list[str] = []
        self._link: tuple[str, int] | None = None

    def handle_endtag(self, tag: str) -> None:
        if tag == "a" and self._link:
            address, begun = self._link
            words = " ".join("".join(self._words[begun:]).split())
            self.found.named.append((words, address))
            self._link = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id" and value:
                (self.found.repeated if value in self.found.ids else self.found.ids).add(value)
            elif name in ADDRESSES and value is not None:
                self.found.links.append(value)
        if tag == "a" and (address := dict(attrs).get("href")):
            self._link = (address, len(self._words))

    def handle_data(self, data: str) -> None:
        self._words.append(data)

    def close(self) -> None:
        super().close()
        self.found.text = " ".join(" ".join(self._words).split())


def read_page(path: Path) -> Reading:
    """Return what a page names."""
    reader = _Reader()
    reader.feed(path.read_text("utf-8"))
    reader.close()
    return reader.found


def read_edition(root: Path) -> dict[Path, Reading]:
    """Return every page of an edition."""
    return {path: read_page(path) for path in sorted(root.rglob("*.html"))}


def dead_links(
    root: Path, pages: dict[Path, Reading], published: tuple[str, Path] | None = None
) -> list[str]:
    """Return each link of an edition that leads to no file or no anchor within it.

    Parameters
    ----------
    root : Path
        The edition's folder.
    pages : dict of Path to Reading
        Its pages.
    published : tuple of str and Path, optional
        The address another edition is published at, and its folder: links there must lead to
        one of its pages.
    """
    dead = []
    for page, reading in pages.items():
        for link in reading.links:
            parts = urlsplit(link)
            if parts.scheme in ("mailto", "tel"):
                continue
            where = f"{page.relative_to(root)}: {link}"
            if published and link.startswith(published[0] + "/"):
                if not (published[1] / unquote(parts.path).strip("/") / "index.html").is_file():
                    dead.append(where)
                continue
            if parts.scheme or parts.netloc:
                dead.append(where)
                continue
            target = (page.parent / unquote(parts.path)).resolve() if parts.path else page
            exists = target.is_relative_to(root.resolve()) and target.is_file()
            anchored = parts.fragment and target.suffix == ".html"
            if not exists or (anchored and unquote(parts.fragment) not in pages[target].ids):
                dead.append(where)
    return dead
