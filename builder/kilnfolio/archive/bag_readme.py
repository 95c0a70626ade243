"""Explains how each figure of a record was computed, in plain text for readers without kilnfolio.

Formulas and coefficients are taken from the code that computes with them, so this text cannot
contradict the figures.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from kilnfolio.archive.by_hand import WIDTH, checking, heading, wrapped
from kilnfolio.archive.crate import CRATE
from kilnfolio.archive.places import DOSSIERS, KEPT
from kilnfolio.archive.proofs import ENTRIES, PROOF, BagLedger
from kilnfolio.archive.rules_in_words import checks_in_words, rules_used
from kilnfolio.physics import air, sorption
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.boards import COVERAGE
from kilnfolio.review.dossier import Dossier, SetPoint, Working
from kilnfolio.review.formulas import FORMULAS, work


def explanation(folder: MillFolder, dossier: Dossier, part: BagLedger, notice: str) -> str:
    """Return the README of a bag.

    Parameters
    ----------
    folder : MillFolder
        The mill as sealed.
    dossier : Dossier
        The sealed dossier.
    part : BagLedger
        The bag's part of the ledger.
    notice : str
        The safety wording.
    """
    title = f"Drying record of charge {dossier.charge}, {folder.mill.record.name}"
    parts = [title, "=" * len(title), ""]
    if dossier.invented or folder.mill.record.invented:
        parts += wrapped("The mill and this charge are invented, made for show.")
    parts += [
        *wrapped(notice),
        *_what_is_here(folder, dossier),
        *_seals(part),
        *checking(part),
        *rules_used(dossier),
        *_air(),
        *_emc(),
        *_example(dossier),
        *_places(),
        *_workings(dossier.workings),
        *checks_in_words(dossier),
    ]
    text = "\n".join(parts).rstrip() + "\n"
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")


def _plain(text: str) -> str:
    """Return text that somebody typed on one line, without control characters."""
    return "".join(c if c.isprintable() else "�" for c in " ".join(text.split()))


def _what_is_here(folder: MillFolder, dossier: Dossier) -> list[str]:
    record = folder.charges[dossier.charge].file
    return [
        *heading("What is here"),
        *wrapped(
            "data/dossier.json: every figure, each check and its outcome, and the "
            "arithmetic, as one JSON record. This is what was sealed."
        ),
        *wrapped(
            f"data/{record}: what the mill wrote down, with the logger's own files beside "
            "it, untouched. The other files below data/content and data/schedules are the "
            "kiln, the schedule, the species and the limits of the checks, as they were when "
            "the record was sealed."
        ),
        *wrapped(
            "This is the raw record under audit, as it was written: the names of those who "
            "worked, the supplier and the intake of the timber, and the mill's own notes "
            "are in it. Customers and their orders are not. It is given to you as an "
            "auditor; it is not for publication."
        ),
        *wrapped(
            f"data/{ENTRIES.as_posix()} and {PROOF.name}: the entries of the mill's ledger "
            "that seal this charge and its lots, and the proof that they are in it. "
            f"data/{DOSSIERS.as_posix()}: each sealed version of the record. "
            f"data/{KEPT.as_posix()}: files of earlier versions, by their SHA-256, where "
            "they were changed since."
        ),
        *wrapped(
            "data/datapackage.json: what each column of the logger's files is, and its unit. "
            f"data/{CRATE}: the same files listed for other archives (RO-Crate 1.1)."
        ),
        *wrapped(
            f"Heating began {dossier.started.isoformat()}, drying ended "
            f"{dossier.ended.isoformat()}. Every time in the record has its offset from UTC."
        ),
    ]


def _seals(part: BagLedger) -> Iterator[str]:
    yield from heading("Seals of this charge")
    for entry in part.entries:
        words = "Sealed" if entry.kind == "seal" else f"Amended (replaces entry {entry.amends})"
        yield f"Entry {entry.number}. {words} {entry.at.isoformat()} by {_plain(entry.by)}"
        if entry.reason:
            yield from textwrap.wrap(
                f"Reason: {_plain(entry.reason)}",
                WIDTH,
                initial_indent="  ",
                subsequent_indent="  ",
            )
        yield f"  dossier, SHA-256:  {entry.dossier}"
        yield f"  public key:        {entry.public_key}"
        yield ""
    if part.proof:
        yield f"Head of the ledger: {part.proof.head.size} entries"
        yield f"  Merkle tree hash:  {part.proof.head.root}"
        yield ""


def _air() -> list[str]:
    names = ("a", "b", "c", "d", "e", "f", "g")
    over = {"water": air.SATURATION_OVER_WATER, "ice": air.SATURATION_OVER_ICE}
    lines = [
        *heading("Relative humidity from the two bulbs"),
        "  RH = 100 × [ps(WB) − A × p × (DB − WB)] ÷ ps(DB)",
        "",
        *wrapped(
            f"DB and WB dry and wet bulb in °C, p the air pressure in Pa, A = "
            f"{air.VENTILATED_COEFFICIENT:g} per °C (ventilated wet bulb), ps the saturation "
            "pressure in Pa. Where the log has no wet bulb, its "
            "humidity channel is used instead."
        ),
        "  ln ps = a/T + b + c·T + d·T² + e·T³ + f·T⁴ + g·ln T",
        "",
        *wrapped(
            f"T in K, t + {air.ZERO_CELSIUS_K}; over ice below {air.TRIPLE_POINT_C} °C, over "
            "water from there up (Hyland and Wexler; ASHRAE Fundamentals, chapter 1, eqs. 5 "
            "and 6):"
        ),
    ]
    for what, values in over.items():
        lines += [
            f"  over {what}:",
            *(
                f"    {name} = {value!r}"
                for name, value in zip(names, values, strict=True)
                if value
            ),
            "",
        ]
    return lines


def _emc() -> list[str]:
    lines = [
        *heading("Equilibrium moisture content (EMC)"),
        f"  EMC = {sorption.HYDRATE_SCALE:g}/W × [ K·h/(1 − K·h)",
        "        + (K1·K·h + 2·K1·K2·K²·h²) / (1 + K1·K·h + K1·K2·K²·h²) ]",
        "",
        *wrapped("h the RH as a fraction, t the dry bulb in °C (Wood Handbook, eq. 4-5):"),
    ]
    for name, (first, second, third) in zip(
        ("W ", "K ", "K1", "K2"), sorption.HYDRATE_COEFFICIENTS, strict=True
    ):
        lines.append(f"  {name} = {first!r} {_signed(second)}·t {_signed(third)}·t²")
    return [*lines, ""]


def _signed(value: float) -> str:
    return f"{'+' if value >= 0 else '−'} {abs(value):.10f}".rstrip("0")


def _example(dossier: Dossier) -> list[str]:
    """Return a worked example of one set-point, using the formulas above."""
    if not dossier.set_points:
        return []
    point: SetPoint = dossier.set_points[0]
    name = f"Set-point {point.label}" if not point.label.isdigit() else f"Step {point.label}"
    worked = work(
        "emc_from_bulbs",
        f"{name}, EMC",
        dry_bulb=point.dry_bulb_c,
        wet_bulb=point.wet_bulb_c,
        pressure=dossier.rules.pressure_pa,
    )[1]
    return [
        *heading("Example, to try the formulas on"),
        *wrapped(
            f"{name} asks for DB {point.dry_bulb_c:g} °C and WB {point.wet_bulb_c:g} °C. In "
            f"data/dossier.json: RH {point.relative_humidity_pct:g} %, EMC "
            f"{point.emc_pct:g} %."
        ),
        *_working(worked),
    ]


#: Places of figures in the record, each with a formula of the review or an explanation.
_PLACES = (
    ("boards/…/sections/…/mc_pct", "moisture_content"),
    ("boards/…/section_mean_mc_pct", "mean"),
    (
        "boards/…/oven_dry_g",
        "oven_dry_mass",
        "m the board's mass when the sections were cut, MC "
        "their mean; later sections, where cut, correct it",
    ),
    ("boards/…/points/…/mc_pct", "moisture_content"),
    ("boards/…/points/…/daily_loss_pct", "drying_rate", "from one weighing to the next"),
    (
        "…uncertainty…",
        "combined_uncertainty",
        f"of the balances' resolution and the spread of the "
        f"sections, times {COVERAGE:g} (JCGM 100:2008)",
    ),
    ("controlling/…/mc_pct", "controlling_moisture_content", "or the rule named above"),
    (
        "log/air",
        "",
        "for each interval of log/summary_hours, the mean of what the formulas above "
        "give reading by reading; not the formulas of the mean bulbs",
    ),
    ("set_points", "emc_from_bulbs"),
    ("equalizing/rule_emc_pct", "equalizing_emc"),
    ("survey/readings", "meter_temperature_correction", "where survey/correction_words says so"),
    ("survey/sd_pct", "standard_deviation"),
    ("survey/mean_low_pct and mean_high_pct", "confidence_interval", "95 %"),
    ("heat/…/longest_minutes", "longest_run_above"),
    ("water/water_kg", "water_removed"),
    ("water/least_heat_kwh", "least_heat"),
)


def _places() -> list[str]:
    lines = [*heading("Which formula gives which figure of data/dossier.json")]
    for place, name, *words in _PLACES:
        formula = [FORMULAS[name].symbols] if name else []
        text = "; ".join([*formula, *words])
        lines += [f"  {place}", *_indented(text)]
    return [*lines, ""]


def _workings(workings: tuple[Working, ...]) -> list[str]:
    lines = [
        *heading("The figures, as on a board"),
        *wrapped(
            "Masses are those of the mill's sheets; each result is rounded as printed. "
            "The other weighings are computed in the same way."
        ),
    ]
    for working in workings:
        lines += _working(working)
    return lines


def _working(working: Working) -> list[str]:
    board = (
        working.formula,
        f"= {working.substituted}",
        f"= {working.result}",
        f"[{working.source}]",
    )
    return [f"  {working.name}", *(line for text in board for line in _indented(text)), ""]


def _indented(text: str) -> list[str]:
    return textwrap.wrap(
        text.replace("\N{NO-BREAK SPACE}", " "),
        WIDTH,
        initial_indent="    ",
        subsequent_indent="      ",
        break_long_words=False,
        break_on_hyphens=False,
    )
