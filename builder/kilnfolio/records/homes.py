"""Where the records of a mill lie, by their names alone: nothing is read here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

#: Where each noun's records lie, and which part of the path is the record's name.
HOMES: Mapping[str, re.Pattern[str]] = {
    noun: re.compile(pattern) for noun, pattern in (
        ("charges", r"content/charges/[^/]+/([^/]+)/charge\.yaml"),
        ("lots", r"content/lots/([^/]+)\.yaml"),
        ("kilns", r"content/kilns/([^/]+)\.yaml"),
        ("loggers", r"content/loggers/([^/]+)\.yaml"),
        ("species", r"schedules/species/([^/]+)\.yaml"),
        ("schedules", r"schedules/(?:hardwood|softwood)/([^/]+)\.yaml"),
        ("notations", r"schedules/notations/([^/]+)\.yaml"),
        ("superseded", r"schedules/superseded/([^/]+)/[^/]+\.yaml"))}

#: Folders of records, with how a record is kept there.
_KEPT_AS = {
    "content/charges": "YEAR/ID/charge.yaml", "content/lots": "ID.yaml",
    "content/kilns": "ID.yaml", "content/loggers": "ID.yaml", "schedules/species": "ID.yaml",
    "schedules/hardwood": "ID.yaml", "schedules/softwood": "ID.yaml",
    "schedules/notations": "ID.yaml", "schedules/superseded": "ID/REVISION.yaml"}
#: What a file is called that somebody took for a record, an editor's or mailer's ending included.
_YAML = re.compile(r"\.(yaml|yml|yaml\.txt)$", re.IGNORECASE)


def strays(names: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Yield the YAML files that lie where they would be passed over in silence, and why.

    Parameters
    ----------
    names : iterable of str
        Files, from the root of the mill folder.
    """
    for name in sorted(names):
        if not _YAML.search(name):
            continue
        home = "/".join(name.split("/")[:2])
        if home in _KEPT_AS and not any(pattern.fullmatch(name) for pattern in HOMES.values()):
            yield name, f"records of this kind are kept as {home}/{_KEPT_AS[home]}"
        elif home == name and name.startswith("content/") and name != "content/mill.yaml":
            yield name, "a folder holds one mill, in content/mill.yaml"
