"""Reads a survey of the final MC from a sheet."""

from __future__ import annotations

import re

from kilnfolio.adopt.record_text import scalar
from kilnfolio.adopt.sheets.table import Table, refusal
from kilnfolio.adopt.sheets.values import quantity_text
from kilnfolio.records.quantities import Percent
from kilnfolio.records.yaml_source import Document


def survey_text(table: Table, charge: Document) -> str:
    """Return the survey of a table as the YAML of a record."""
    del charge
    options, heading = table.options, table.heading[table.roles["mc"]]
    lacking = [f"--{name}" for name in ("at", "by", "method") if not getattr(options, name)]
    if lacking:
        raise refusal(
            table.sheet.file,
            "the sheet does not say when, by whom and how",
            "a survey without them proves nothing",
            f"Give them with {', '.join(lacking)}, "
            "as in --at 2026-03-30T10:00 --by 'A. N. Other' --method 'resistance meter'",
        )
    lines = [
        "survey:",
        f"  at: {options.at}",
        f"  by: {scalar(options.by or '')}",
        f"  method: {options.method}",
    ]
    lines += [
        f"  {name}: {value}"
        for name in ("instrument", "wood_temperature", "calibration_temperature", "chosen")
        if (value := getattr(options, name))
    ]
    if options.corrected_for:
        lines.append(f"  corrected_for: [{', '.join(options.corrected_for)}]")
    lines.append("  readings:")
    _ask_about_sum(table)
    for place, row in enumerate(table.rows):
        cell = table.cell(row, "mc")
        if not cell.text:
            continue
        table.used_rows.add(place)
        parts = [f"mc: {quantity_text(table, cell, heading, Percent)}"]
        parts += [
            f"{role}: {scalar(table.cell(row, role).text)}"
            for role in ("pack", "position")
            if table.cell(row, role).text
        ]
        lines.append(f"    - {{{', '.join(parts)}}}")
    return "\n".join(lines) + "\n" if table.used_rows else ""


def _ask_about_sum(table: Table) -> None:
    """Refuse a last row that may be a mean of the others: it alone names no pack or position."""
    named = [role for role in ("pack", "position") if role in table.roles]
    rows = [row for row in table.rows if table.cell(row, "mc").text]
    if (
        not named
        or len(rows) < 3
        or any(table.cell(rows[-1], role).text for role in named)
        or not all(any(table.cell(row, role).text for role in named) for row in rows[:-1])
    ):
        return
    cell = table.cell(rows[-1], "mc")
    values = [_number(table.cell(row, "mc").text) for row in rows]
    if None in values:
        return
    *others, last = (value for value in values if value is not None)
    if abs(last - sum(others) / len(others)) <= 0.06:
        table.refuse(
            cell,
            f"'{cell.text}'",
            f"it is the mean of the rows above and names no {named[0]}",
            "Is it their average? Then delete the row or label it "
            f"'Average'; if it is a piece, name its {named[0]}",
        )


def _number(text: str) -> float | None:
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*%?\s*", text)
    return float(found[1].replace(",", ".")) if found else None
