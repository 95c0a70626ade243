"""The RO-Crate metadata of a bag: what it holds, for archives and programs that read no README.

References
----------
.. [1] RO-Crate Metadata Specification 1.1, researchobject.org, 2020 (from memory); the tests
   validate with a validator of that project. A crate inside a bag is the payload folder.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Any

from kilnfolio.archive.entries import Entry
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier

#: Path of the metadata below ``data/``.
CRATE = "ro-crate-metadata.json"

_SPECIFICATION = "https://w3id.org/ro/crate/1.1"
#: Types of the files in a bag; those of the standard library differ between systems.
_TYPES = {
    ".json": "application/json",
    ".jsonl": "application/x-ndjson",
    ".yaml": "application/yaml",
    ".pdf": "application/pdf",
    ".csv": "text/csv",
    ".txt": "text/plain",
}


def crate(
    folder: MillFolder, dossier: Dossier, entry: Entry, payload: Mapping[str, bytes]
) -> dict[str, Any]:
    """Return the metadata of a bag's payload.

    Parameters
    ----------
    folder : MillFolder
        The records as sealed.
    dossier : Dossier
        The sealed dossier.
    entry : Entry
        The seal in force.
    payload : mapping of str to bytes
        Every other file below ``data/``.
    """
    mill = folder.mill.record
    files = sorted(payload)
    invented = dossier.invented or mill.invented
    return {
        "@context": f"{_SPECIFICATION}/context",
        "@graph": [
            {
                "@id": CRATE,
                "@type": "CreativeWork",
                "about": {"@id": "./"},
                "conformsTo": {"@id": _SPECIFICATION},
            },
            {
                "@id": "./",
                "@type": "Dataset",
                "name": f"Drying record of charge {dossier.charge}",
                "description": (
                    f"{'Invented d' if invented else 'D'}rying record of charge {dossier.charge}, "
                    "with every file its figures are computed from"
                ),
                "identifier": dossier.charge,
                "datePublished": entry.at.date().isoformat(),
                "temporalCoverage": f"{dossier.started.isoformat()}/{dossier.ended.isoformat()}",
                "author": {"@id": "#mill"},
                "publisher": {"@id": "#mill"},
                "license": {"@id": "#terms"},
                "mainEntity": {"@id": "dossier.json"},
                "hasPart": [{"@id": _id(path)} for path in files],
            },
            {
                "@id": "#mill",
                "@type": "Organization",
                "name": mill.name,
                "location": f"{mill.place}, {mill.country}",
                "email": mill.contact.email,
            },
            {
                "@id": "#terms",
                "@type": "CreativeWork",
                "name": "For the auditor it was given to",
                "description": "The mill's raw record, with names; it is not for publication. "
                "Ask the mill before you pass it on.",
            },
            *(_file(path, payload[path]) for path in files),
        ],
    }


def _id(path: str) -> str:
    return "".join(c if c not in ' %?#"<>\\^`{|}' else f"%{ord(c):02X}" for c in path)


def _file(path: str, data: bytes) -> dict[str, Any]:
    name = PurePosixPath(path)
    return {
        "@id": _id(path),
        "@type": "File",
        "name": name.name,
        "contentSize": str(len(data)),
        "encodingFormat": _TYPES.get(name.suffix.lower(), "application/octet-stream"),
    }
