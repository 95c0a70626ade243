"""A mill's tables for other programs: a Data Package, SQLite, Parquet or JSON.

Data Package Standard 2.0, datapackage.org: Data Package, Data Resource, Table Schema.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from kilnfolio import __version__
from kilnfolio.api.mill import MillView
from kilnfolio.api.tables import Column, Edition, Table, tables_in
from kilnfolio.records.unit_codes import UNIT_CODES
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.runtime.files import naming, sync_folder, sync_tree
from kilnfolio.site.series import cell

_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_SQL = {
    "string": "TEXT",
    "number": "REAL",
    "integer": "INTEGER",
    "boolean": "INTEGER",
    "date": "TEXT",
    "datetime": "TEXT",
}
#: Tables that a column refers to, if it is not simply a part of that table's key.
_LEADS = {"charge": "charges", "lot": "lots"}

Rows = Mapping[str, Sequence[tuple[object, ...]]]


class ExportRefusedError(Exception):
    """Another file is in the way, or a library is missing."""


def export(
    mill: MillView, out: Path, form: str, edition: Edition = "mill", lot: str | None = None
) -> dict[str, int]:
    """Write a mill's tables.

    Parameters
    ----------
    mill : MillView
        The mill.
    out : Path
        The folder (package, parquet) or file (sqlite, json) to write.
    form : str
        One of `FORMATS`.
    edition : str
        The edition; columns its readers may not see are left out.
    lot : str, optional
        Export only this lot. Required for a customer's export.

    Returns
    -------
    dict of str to int
        Number of rows of each table.

    Raises
    ------
    ExportRefusedError
        If something else is at `out`, or the format needs a library that is not installed.
    """
    if edition == "customer" and lot is None:
        raise ExportRefusedError("a customer sees one lot: name it with --lot")
    tables = tables_in(edition)
    _refuse_in_the_way(out)
    rows = {name: mill.rows(name, edition, lot) for name in tables}
    with naming(out):
        beside = tempfile.TemporaryDirectory(dir=out.absolute().parent, prefix=".export-")
    with beside as staging:
        made = Path(staging) / "made"
        FORMATS[form](made, tables, rows, edition)
        sync_tree(made)
        if out.is_dir():
            shutil.rmtree(out)
        os.replace(made, out)  # noqa: PTH105  also for a folder
    sync_folder(out.absolute().parent)
    return {name: len(found) for name, found in rows.items()}


def _refuse_in_the_way(out: Path) -> None:
    """Refuse to replace anything but an earlier export."""
    if out.is_dir() and any(out.iterdir()) and not (out / "datapackage.json").is_file():
        raise ExportRefusedError(f"{out} holds other files; name a new folder with --out")
    if not out.absolute().parent.is_dir():
        raise ExportRefusedError(f"there is no folder {out.absolute().parent}")


def _package(out: Path, tables: Mapping[str, Table], rows: Rows, edition: Edition) -> None:
    out.mkdir()
    for name, table in tables.items():
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow([column.name for column in table.columns_in(edition)])
        writer.writerows([_cell(value) for value in row] for row in rows[name])
        (out / f"{name}.csv").write_text(text.getvalue(), "utf-8")
    _write_descriptor(out, tables, edition, "csv")


def _write_descriptor(
    out: Path, tables: Mapping[str, Table], edition: Edition, suffix: str
) -> None:
    descriptor = {
        "$schema": _PROFILE,
        "name": "kilnfolio-export",
        "title": "Kiln drying records",
        "description": SAFETY,
        "version": __version__,
        "resources": [
            {
                "name": name,
                "path": f"{name}.{suffix}",
                "description": table.meaning,
                "schema": _schema(table, tables, edition),
                **(
                    {"format": "csv", "mediatype": "text/csv", "encoding": "utf-8"}
                    if suffix == "csv"
                    else {"format": suffix}
                ),
            }
            for name, table in tables.items()
        ],
    }
    (out / "datapackage.json").write_text(
        json.dumps(descriptor, indent=1, ensure_ascii=False) + "\n", "utf-8"
    )


def _schema(table: Table, tables: Mapping[str, Table], edition: Edition) -> dict[str, Any]:
    columns = table.columns_in(edition)
    leads = list(_foreign_keys(table, tables, columns))
    return {
        "fields": [
            {
                "name": column.name,
                "type": column.kind,
                "description": column.meaning,
                **(
                    {"unit": column.unit, "unitCode": UNIT_CODES[column.unit]}
                    if column.unit
                    else {}
                ),
            }
            for column in columns
        ],
        "primaryKey": list(table.key),
        **(
            {
                "foreignKeys": [
                    {"fields": [name], "reference": {"resource": other, "fields": [name]}}
                    for name, other in leads
                ]
            }
            if leads
            else {}
        ),
    }


def _foreign_keys(
    table: Table, tables: Mapping[str, Table], columns: Sequence[Column]
) -> Iterator[tuple[str, str]]:
    for column in columns:
        other = _LEADS.get(column.name)
        if other and other != table.name and other in tables:
            yield column.name, other


def _words(value: object) -> object:
    """Return a value as written in CSV and JSON."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, dt.date):
        return value.isoformat()
    return value


def _cell(value: object) -> object:
    """Return a value as CSV holds it: no words that a spreadsheet would take for a formula."""
    words = _words(value)
    return cell(words) if isinstance(words, str) else words


def _sqlite(out: Path, tables: Mapping[str, Table], rows: Rows, edition: Edition) -> None:
    with closing(sqlite3.connect(out)) as database, database:
        database.execute(
            'CREATE TABLE "columns" ("table" TEXT, "column" TEXT, "unit" TEXT, '
            '"unit_code" TEXT, "meaning" TEXT, PRIMARY KEY ("table", "column"))'
        )
        for name, table in tables.items():
            columns = table.columns_in(edition)
            parts = [f'"{column.name}" {_SQL[column.kind]}' for column in columns]
            parts.append("PRIMARY KEY (" + ", ".join(f'"{key}"' for key in table.key) + ")")
            parts += [
                f'FOREIGN KEY ("{field}") REFERENCES "{other}" ("{field}")'
                for field, other in _foreign_keys(table, tables, columns)
            ]
            database.execute(f'CREATE TABLE "{name}" ({", ".join(parts)})')
            database.executemany(
                f'INSERT INTO "{name}" VALUES ({", ".join("?" * len(columns))})',
                (
                    [int(value) if isinstance(value, bool) else _words(value) for value in row]
                    for row in rows[name]
                ),
            )
            database.executemany(
                'INSERT INTO "columns" VALUES (?, ?, ?, ?, ?)',
                [
                    (
                        name,
                        column.name,
                        column.unit,
                        UNIT_CODES.get(column.unit, ""),
                        column.meaning,
                    )
                    for column in columns
                ],
            )


def _json(out: Path, tables: Mapping[str, Table], rows: Rows, edition: Edition) -> None:
    made = {
        name: [
            {
                column.name: value if isinstance(value, bool) else _words(value)
                for column, value in zip(table.columns_in(edition), row, strict=True)
            }
            for row in rows[name]
        ]
        for name, table in tables.items()
    }
    units = {
        name: {column.name: column.unit for column in table.columns_in(edition) if column.unit}
        for name, table in tables.items()
    }
    out.write_text(
        json.dumps(
            {"kilnfolio": __version__, "caution": SAFETY, "units": units, "tables": made},
            indent=1,
            ensure_ascii=False,
        )
        + "\n",
        "utf-8",
    )


def _parquet(out: Path, tables: Mapping[str, Table], rows: Rows, edition: Edition) -> None:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise ExportRefusedError(
            "Parquet needs kilnfolio's extra 'parquet': pip install 'kilnfolio[parquet]'"
        ) from None
    types = {
        "string": pa.string(),
        "number": pa.float64(),
        "integer": pa.int64(),
        "boolean": pa.bool_(),
        "date": pa.date32(),
        "datetime": pa.timestamp("s", "UTC"),
    }
    out.mkdir()
    for name, table in tables.items():
        columns = table.columns_in(edition)
        schema = pa.schema(
            [
                pa.field(
                    column.name,
                    types[column.kind],
                    metadata={"unit": column.unit, "meaning": column.meaning},
                )
                for column in columns
            ]
        )
        values = list(zip(*rows[name], strict=True)) or [()] * len(columns)
        arrays = [
            pa.array(list(given), field.type) for given, field in zip(values, schema, strict=True)
        ]
        pq.write_table(pa.table(arrays, schema), out / f"{name}.parquet")
    _write_descriptor(out, tables, edition, "parquet")


#: The formats, with the function that writes each.
FORMATS: dict[str, Callable[[Path, Mapping[str, Table], Rows, Edition], None]] = {
    "package": _package,
    "sqlite": _sqlite,
    "parquet": _parquet,
    "json": _json,
}
