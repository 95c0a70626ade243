"""The address of every page of the mill edition. All links are made from these."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from urllib.parse import urlencode


def root_of(path: str) -> str:
    """Return the path from a page to the edition's root: ``""``, ``"../"``, ``"../../"``."""
    return "../" * path.count("/")


def relative(target: str, here: str) -> str:
    """Return the address of `target` (``species/x.html#y``) relative to the page `here`."""
    path, hash_, anchor = target.partition("#")
    folder, _, name = here.rpartition("/")
    if path == here:
        return hash_ + anchor or name
    return _from_folder(folder, path) + hash_ + anchor


@lru_cache(maxsize=1024)
def _from_folder(folder: str, path: str) -> str:
    """Return the way from a folder to a file: all pages of a folder have the same menu."""
    folders, parts, shared = folder.split("/") if folder else [], path.split("/"), 0
    while folders[shared:] and parts[shared + 1 :] and folders[shared] == parts[shared]:
        shared += 1
    return "../" * (len(folders) - shared) + "/".join(parts[shared:])


def chapter(slug: str, anchor: str = "") -> str:
    """Return the page of a handbook chapter."""
    return f"handbook/{slug}.html" + (f"#{anchor}" if anchor else "")


def species(identity: str) -> str:
    """Return the page of a species."""
    return f"species/{identity}.html"


def schedule(identity: str) -> str:
    """Return the page of a schedule."""
    return f"schedules/{identity}.html"


def changes(kind: str, identity: str) -> str:
    """Return the page that compares the revisions of a schedule or chapter.

    Parameters
    ----------
    kind : str
        ``schedules`` or ``handbook``.
    identity : str
        Id of the schedule, or address of the chapter.
    """
    return f"{kind}/changes/{identity}.html"


def charge(number: str) -> str:
    """Return the page of a charge."""
    return f"charges/{number}.html"


def compared(kind: str, name: str) -> str:
    """Return the page that compares charges of a kind, or a schedule with the published.

    Parameters
    ----------
    kind : str
        ``charges`` or ``schedules``.
    name : str
        The kind of timber, as in ``quercus-rubra-25mm``, or the id of the schedule.
    """
    return f"{kind}/compared/{name}.html"


def kiln_side(number: str) -> str:
    """Return the kiln-side page of an open charge."""
    return f"kiln-side/{number}.html"


def superseded(number: str, ordinal: int) -> str:
    """Return the page of a charge's amended sealed state, by its ordinal from 1."""
    return f"charges/{number}-sealed-{ordinal}.html"


def lot(number: str) -> str:
    """Return the mill edition's page of a lot."""
    return f"lots/{number}.html"


def customer_folder(address: str, tag: str, languages: Sequence[str]) -> str:
    """Return the folder of a lot's page in a language: the first has the address itself."""
    return address if tag == languages[0] else f"{address}/{tag}"


def register(kind: str, part: str = "", **filters: str) -> str:
    """Return a page of the register of ``charges`` or ``lots``: for all, a year or a month.

    Parameters
    ----------
    kind : str
        The register.
    part : str
        A year or month, such as ``2026`` or ``2026-03``; empty for all.
    **filters : str
        Values to filter by, under the names of the filters' parameters.
    """
    page = f"{kind}/by-date/{part}.html" if part else f"{kind}/index.html"
    return page + (f"#{urlencode(filters)}" if filters else "")


#: The script file that lists every part of the registers.
REGISTER_MANIFEST = "register/manifest.js"


def register_rows(kind: str, shard: str) -> str:
    """Return the script file of a part of a register."""
    return f"register/{kind}-{shard}.js"


def kiln(identity: str) -> str:
    """Return the page of a kiln."""
    return f"kilns/{identity}.html"


#: The page of what has changed in the whole mill.
TRENDS = "trends/index.html"


#: The degrade ledger.
DEGRADE = "trends/degrade.html"


def position_map(kiln: str) -> str:
    """Return the page of the places of a kiln."""
    return f"trends/places/{kiln}.html"


def trend(key: str) -> str:
    """Return the page of a kiln's or a stock's trends.

    Parameters
    ----------
    key : str
        As in ``kiln:k1`` or ``stock:quercus-rubra/25.4``.
    """
    kind, _, named = key.partition(":")
    folder = {"kiln": "kilns", "stock": "timber"}[kind]
    return f"trends/{folder}/{named.replace('/', '-').replace('.', '-')}.html"


def check(slug: str) -> str:
    """Return the address of a check's line in the catalogue."""
    return f"checks/index.html#{slug}"


def limit(key: str) -> str:
    """Return the page of a limit."""
    return f"checks/limits/{key}.html"


def guide(slug: str) -> str:
    """Return a page of the guide to the program."""
    return f"guide/{slug}.html"


def term(anchor: str) -> str:
    """Return the address of a term in the glossary."""
    return chapter("glossary", anchor)


#: The page of what is known of the mill's scales and meters.
MEASURING = "kilns/measuring.html"

#: The site's menu: words and addresses.
MENU: tuple[tuple[str, str], ...] = (
    ("Handbook", "handbook/index.html"),
    ("Species", "species/index.html"),
    ("Schedules", "schedules/index.html"),
    ("Charges", "charges/index.html"),
    ("Lots", "lots/index.html"),
    ("Kilns", "kilns/index.html"),
    ("Checks", "checks/index.html"),
    ("Glossary", "handbook/glossary.html"),
    ("Calculators", "calculators.html"),
    ("Practice", "practice.html"),
)

#: The menu of the auditor edition.
AUDITOR_MENU: tuple[tuple[str, str], ...] = (
    ("Register", "index.html"),
    ("Kilns", "kilns/index.html"),
    ("Checks", "checks/index.html"),
    ("Sources", "sources.html"),
)

#: Pages about the site itself, linked in the footer of every page.
FOOT: tuple[tuple[str, str], ...] = (
    ("Guide", guide("index")),
    ("Sources", "sources.html"),
    ("Records", "records.html"),
)
