"""Where every page stands in the mill edition. Links are made from these and nowhere else."""

from __future__ import annotations

import posixpath
from urllib.parse import urlencode


def root_of(path: str) -> str:
    """Return the way from a page back to the edition's root: ``""``, ``"../"``, ``"../../"``."""
    return "../" * path.count("/")


def relative(target: str, here: str) -> str:
    """Return the relative address of `target` (``species/x.html#y``) seen from the page `here`."""
    path, hash_, anchor = target.partition("#")
    if path == here:
        return hash_ + anchor or posixpath.basename(here)
    folders, parts, shared = here.split("/")[:-1], path.split("/"), 0
    while folders[shared:] and parts[shared + 1 :] and folders[shared] == parts[shared]:
        shared += 1
    return "../" * (len(folders) - shared) + "/".join(parts[shared:]) + hash_ + anchor


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
        Which schedule or chapter.
    """
    return f"{kind}/changes/{identity}.html"


def charge(number: str) -> str:
    """Return the page of a charge."""
    return f"charges/{number}.html"


def kiln_side(number: str) -> str:
    """Return the kiln-side page of an open charge."""
    return f"kiln-side/{number}.html"


def superseded(number: str, ordinal: int) -> str:
    """Return the page of a charge's ordinal-th sealed state, from 1, that was amended since."""
    return f"charges/{number}-sealed-{ordinal}.html"


def lot(number: str) -> str:
    """Return the mill edition's page of a lot."""
    return f"lots/{number}.html"


def register(kind: str, part: str = "", **filters: str) -> str:
    """Return a page of the register of ``charges`` or ``lots``: all, or a year, or a month.

    Parameters
    ----------
    kind : str
        Which register.
    part : str
        A year or a month, as in ``2026`` or ``2026-03``; all where empty.
    **filters : str
        What the register is to show alone, by the names its filters have in the address.
    """
    page = f"{kind}/by-date/{part}.html" if part else f"{kind}/index.html"
    return page + (f"#{urlencode(filters)}" if filters else "")


#: The script file that names every part of the registers.
REGISTER_MANIFEST = "register/manifest.js"


def register_rows(kind: str, shard: str) -> str:
    """Return the script file that holds one part of a register."""
    return f"register/{kind}-{shard}.js"


def kiln(identity: str) -> str:
    """Return the page of a kiln."""
    return f"kilns/{identity}.html"


def check(slug: str) -> str:
    """Return where the catalogue explains a check."""
    return f"checks/index.html#{slug}"


def guide(slug: str) -> str:
    """Return a page of the guide to the program."""
    return f"guide/{slug}.html"


def term(anchor: str) -> str:
    """Return where the glossary explains a term."""
    return chapter("glossary", anchor)


#: The pages of the site's own menu: the word, and where it leads.
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

#: Pages about the site itself, linked at the foot of every page.
FOOT: tuple[tuple[str, str], ...] = (
    ("Guide", guide("index")),
    ("Sources", "sources.html"),
    ("Records", "records.html"),
)
