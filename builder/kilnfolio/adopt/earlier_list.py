"""``new earlier``: begins the tables of charges from before the mill used this program."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from kilnfolio.adopt.this_mill import this_mill
from kilnfolio.adopt.writing import write_new
from kilnfolio.records.csv_table import columns_of
from kilnfolio.records.earlier import (
    CHARGES,
    INSPECTED,
    READINGS,
    EarlierCharge,
    EarlierInspected,
    EarlierReading,
)
from kilnfolio.records.model import Record
from kilnfolio.runtime.field_docs import field_doc


def list_options(parser: argparse.ArgumentParser) -> None:
    """Add the argument of ``new earlier``."""
    parser.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=this_mill(),
        help="the mill folder (default: the one you are in)",
    )


def new_list(
    arguments: argparse.Namespace, ask: Callable[[str], str] | None, say: Callable[[str], None]
) -> None:
    """Write the tables with their headings, and what each column holds.

    Raises
    ------
    RecordProblems
        They exist already.
    """
    del ask  # there is nothing to ask
    tables: dict[str, type[Record]] = {
        CHARGES: EarlierCharge,
        READINGS: EarlierReading,
        INSPECTED: EarlierInspected,
    }
    write_new(arguments.folder, {name: _headed(model) for name, model in tables.items()})
    for name in tables:
        say(f"{arguments.folder / name} written: a row for each; remove columns you do not need")


def _headed(model: type[Record]) -> str:
    fields = model.model_fields
    notes = [
        f"# {name}: {field_doc(model, name)}{'' if field.is_required() else ' (may be left out)'}"
        for name, field in fields.items()
    ]
    headings = [column for column, path in columns_of(model).items() if len(path) == 1]
    return "\n".join([*notes, ",".join(headings)]) + "\n"
