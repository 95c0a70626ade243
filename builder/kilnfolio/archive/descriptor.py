"""The Data Package descriptor of a bag's tables: the meaning and unit of each column.

References
----------
.. [1] Data Package Standard, version 2.0, datapackage.org: Data Package, Data Resource, Table
   Dialect, Table Schema (from memory).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Any

from kilnfolio.archive.canonical import sha256
from kilnfolio.archive.entries import Entry
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.logger import LoggerProfile

_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_DELIMITERS = {"tab": "\t"}


def data_package(
    folder: MillFolder, charge: str, files: Mapping[str, bytes], entry: Entry
) -> dict[str, Any]:
    """Return the descriptor of the logger files of a charge.

    Parameters
    ----------
    folder : MillFolder
        The mill as sealed.
    charge : str
        The charge.
    files : mapping of str to bytes
        The sealed files by path.
    entry : Entry
        The seal, for its date.
    """
    located = folder.charges[charge]
    home = PurePosixPath(located.file).parent
    resources = []
    for log in located.record.log:
        path = (home / log.file).as_posix()
        resources.append(_resource(path, files[path], folder.loggers[log.profile].record))
    return {
        "$schema": _PROFILE,
        "name": _name(f"charge-{charge}"),
        "title": f"Logger files of charge {charge}",
        "created": entry.at.isoformat(),
        "contributors": [{"title": folder.mill.record.name, "roles": ["creator"]}],
        "resources": resources,
    }


def _resource(path: str, data: bytes, profile: LoggerProfile) -> dict[str, Any]:
    encoding = "utf-8-sig" if profile.encoding == "utf-8" else profile.encoding
    delimiter = _DELIMITERS.get(profile.delimiter, profile.delimiter)
    lines = data.decode(encoding).splitlines()[: profile.heading_rows]
    headings = [
        cell.strip() for cell in list(csv.reader(lines, delimiter=delimiter))[profile.names_row - 1]
    ]
    rows = range(1, profile.heading_rows + 1)
    return {
        "name": _name(PurePosixPath(path).stem),
        "title": profile.title,
        "path": path,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": profile.encoding,
        "bytes": len(data),
        "hash": f"sha256:{sha256(data)}",
        "dialect": {
            "delimiter": delimiter,
            "headerRows": [profile.names_row],
            "commentRows": [row for row in rows if row != profile.names_row],
        },
        "schema": {
            "fields": [_field(heading, profile) for heading in headings],
            "missingValues": ["", *profile.missing],
        },
    }


def _field(heading: str, profile: LoggerProfile) -> dict[str, Any]:
    time = profile.time
    if heading in (time.heading, time.time_heading):
        return {
            "name": heading,
            **_time_type(heading, profile),
            "description": f"Time by the logger's clock, {time.clock}",
        }
    for column in profile.columns:
        if column.heading == heading:
            return {
                "name": heading,
                "type": "number",
                "decimalChar": profile.decimal,
                "unit": column.unit,
                "channel": column.channel,
                "description": f"{column.channel.replace('-', ' ')} [{column.unit}]",
            }
    return {"name": heading, "type": "string", "description": "Not used"}


def _time_type(heading: str, profile: LoggerProfile) -> dict[str, str]:
    if profile.time.time_heading is None:
        return {"type": "datetime", "format": profile.time.format}
    day, _, clock = profile.time.format.partition(" ")
    if heading == profile.time.heading:
        return {"type": "date", "format": day}
    return {"type": "time", "format": clock}


def _name(text: str) -> str:
    return re.sub(r"[^a-z0-9._-]+", "-", text.lower()).strip("-") or "table"
