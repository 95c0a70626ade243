"""Workings of a charge's end: equalizing, conditioning, survey, heat treatment, water and heat."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from kilnfolio.physics.water import least_heat_parts
from kilnfolio.records.charge import Charge
from kilnfolio.records.charge import Survey as SurveyRecord
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.quantities import Density, Energy, Temperature, Volume
from kilnfolio.records.species import Species
from kilnfolio.review import figures
from kilnfolio.review.dossier import (
    Dossier,
    HeatRun,
    StageResult,
    SurveyResult,
    WaterAndHeat,
    Working,
)
from kilnfolio.review.ending import CONFIDENCE_PCT
from kilnfolio.review.limits import NoLimit, Subject, limit_table
from kilnfolio.review.stages import points_above
from kilnfolio.site.pages.phrases import span
from kilnfolio.site.pages.workings import (
    Shown,
    length_of,
    percent,
    points,
    shown,
    summed_over_log,
    work_out,
)
from kilnfolio.site.pages.workings.boards import controlling_with_boards


def ending_workings(folder: MillFolder, record: Charge, dossier: Dossier) -> Iterator[Shown]:
    """Yield the working of the end of a charge."""
    zone = folder.mill.record.zone
    yield from _stages(folder, record, dossier, zone)
    if dossier.survey and record.survey:
        yield from _survey(dossier.survey)
        yield from _corrections(
            record.survey, dossier.survey, folder.species[record.stock[0].species].record
        )
    yield from _heat(dossier.heat, zone)
    if dossier.water:
        yield from _water(folder, record, dossier, dossier.water)


# --- equalizing and conditioning ------------------------------------------------------------------


def _stages(
    folder: MillFolder, record: Charge, dossier: Dossier, zone: dt.tzinfo
) -> Iterator[Shown]:
    stages = [
        (name, stage)
        for name, stage in (
            ("equalizing", dossier.equalizing),
            ("conditioning", dossier.conditioning),
        )
        if stage
    ]
    yield shown(
        "stage-length",
        "Length of a stage",
        (
            length_of(name, stage.start, stage.end, zone, span(stage.start, stage.end))
            for name, stage in stages
        ),
    )
    yield shown(
        "stage-rule", "EMC by the rule", (_rule(folder, record, name) for name, _ in stages)
    )
    yield shown(
        "stage-reached",
        "EMC reached",
        (
            summed_over_log(
                name,
                "mean of the EMC of the readings",
                "those of the second half of the stage",
                figures.measure(stage.achieved_emc_pct, "%", 1),
                "the logger’s file",
            )
            for name, stage in stages
            if stage.achieved_emc_pct is not None
        ),
    )
    for which in ("start", "end"):
        yield shown(
            f"stage-{which}",
            f"Driest and wettest board at the {which}",
            (
                working
                for name, stage in stages
                for working in _extremes(dossier, name, stage, which)
            ),
        )


def _rule(folder: MillFolder, record: Charge, name: str) -> Working | None:
    kind = folder.species[record.stock[0].species].record.kind
    book = limit_table(
        folder,
        Subject(
            tuple(stock.species for stock in record.stock),
            kind,
            record.stock[0].thickness.value,
            record.target_mc.value,
        ),
    )
    try:
        if name == "equalizing":
            below = points(book.value("equalizing-below-target"), 1)
            return work_out("equalizing_emc", name, target=record.target_mc, below=below)
        above = points(points_above(book, record.target_mc.value), 1)
    except NoLimit:
        return None
    return work_out("conditioning_emc", name, target=record.target_mc, kind=kind, above=above)


def _extremes(
    dossier: Dossier, name: str, stage: StageResult, which: str
) -> Iterator[Working | None]:
    """Yield the working of the driest and wettest board at the start or end of a stage."""
    driest = stage.driest_at_start_pct if which == "start" else stage.driest_at_end_pct
    wettest = stage.wettest_at_start_pct if which == "start" else stage.wettest_at_end_pct
    moment = stage.start if which == "start" else stage.end
    weighed = [
        (control, mcs)
        for control, mcs in controlling_with_boards(dossier)
        if (control.driest_pct, control.wettest_pct) == (driest, wettest)
    ]
    if not weighed:
        return
    mcs = min(weighed, key=lambda pair: abs(pair[0].at - moment))[1]
    for words, formula in (("driest", "least"), ("wettest", "greatest")):
        yield work_out(formula, f"{name}, {words}", of=[percent(mc, 1) for mc in mcs])


# --- survey ---------------------------------------------------------------------------------------


def _survey(survey: SurveyResult) -> Iterator[Shown]:
    readings = [percent(value) for value in survey.readings]
    yield shown("survey-mean", "Mean of the survey", [work_out("mean", "", of=readings)])
    yield shown(
        "survey-range",
        "Driest and wettest reading",
        [work_out("least", "driest", of=readings), work_out("greatest", "wettest", of=readings)],
    )
    if survey.n < 2:
        return
    values = {
        "mean": percent(survey.mean_pct),
        "sd": percent(survey.sd_pct),
        "readings": survey.n,
        "confidence": percent(CONFIDENCE_PCT, 0),
    }
    yield shown(
        "survey-sd",
        "Standard deviation of the survey",
        [work_out("standard_deviation", "", of=readings)],
    )
    yield shown(
        "survey-interval",
        "Where the mean of the load lies",
        [work_out("confidence_interval", "", **values)],
    )
    if survey.tolerance_share_pct is not None:
        yield shown(
            "survey-tolerance",
            "Where the pieces lie",
            [
                work_out(
                    "tolerance_limits", "", share=percent(survey.tolerance_share_pct, 0), **values
                )
            ],
        )


def _corrections(record: SurveyRecord, survey: SurveyResult, species: Species) -> Iterator[Shown]:
    """Yield the working of the first corrected reading; nothing if none was corrected."""
    reading, worked = record.readings[0].mc, []
    if "corrected here" not in survey.correction_words:
        return
    wood, scale = record.wood_temperature, record.calibration_temperature
    if "temperature" not in record.corrected_for and wood and scale:
        worked.append(
            work_out(
                "meter_temperature_correction",
                "for temperature",
                reading=reading,
                wood_temperature=wood,
                calibration_temperature=scale,
            )
        )
        if worked[-1]:
            reading = percent(float(worked[-1].result.split()[0]), 1)
    meter = species.meter_correction
    if "species" not in record.corrected_for and meter:
        worked.append(
            work_out(
                "meter_species_correction",
                "for the species",
                reading=reading,
                slope=meter.slope,
                offset=points(meter.offset, 1),
            )
        )
    yield shown(
        "reading",
        "A reading as corrected",
        worked,
        "The first reading; the others in the same way.",
        sample=True,
    )


# --- heat treatment -------------------------------------------------------------------------------


def _heat(runs: tuple[HeatRun, ...], zone: dt.tzinfo) -> Iterator[Shown]:
    yield shown(
        "heat-run",
        "Longest unbroken run of a core probe",
        (
            length_of(
                run.channel,
                run.start,
                run.end,
                zone,
                figures.measure(run.longest_minutes, "min", 0),
            )
            for run in runs
            if run.start and run.end
        ),
        "From the first to the last reading of the longest set at or above the temperature "
        "required; a missing reading or a gap ends it.",
    )
    yield shown(
        "heat-highest",
        "Highest reading of a core probe",
        (
            summed_over_log(
                run.channel,
                "the greatest of the probe’s readings",
                "the whole log",
                figures.measure(run.highest_c, "°C", 1),
                "the logger’s file",
            )
            for run in runs
        ),
    )


# --- water and heat -------------------------------------------------------------------------------


def _water(
    folder: MillFolder, record: Charge, dossier: Dossier, water: WaterAndHeat
) -> Iterator[Shown]:
    yield shown(
        "volume",
        "Timber in the load",
        [work_out("sum", "", of=[stock.volume for stock in record.stock])],
    )
    yield from _density(folder, record)
    start = next(controlling_with_boards(dossier), None)
    if start:
        yield shown(
            "mc-from",
            "MC of the load at the start",
            [work_out("mean", "", of=[percent(mc) for mc in start[1]])],
            "Mean of the boards as cut.",
        )
    load = {
        "volume": Volume(water.volume_m3, f"{water.volume_m3:g} m³"),
        "basic_density": Density(water.basic_density_kg_m3, f"{water.basic_density_kg_m3:g} kg/m³"),
        "mc_from": percent(sum(start[1]) / len(start[1]))
        if start
        else percent(water.mc_from_pct, 1),
        "mc_to": percent(dossier.survey.mean_pct)
        if dossier.survey
        else percent(water.mc_to_pct, 1),
    }
    yield shown(
        "water-removed",
        "Water removed",
        [work_out("water_removed", "", **load)],
        "From values rounded as they stand here; the figure above is had unrounded, and "
        "may differ in its last digits.",
        sample=True,
    )
    yield _least_heat(folder, dossier, water, load)
    if water.metered_kwh is None:
        return
    metered = Energy(water.metered_kwh, f"{water.metered_kwh:g} kWh")
    yield shown(
        "metered-ratio",
        "Metered over least",
        [
            work_out(
                "ratio",
                "",
                a=metered,
                b=Energy(water.least_heat_kwh, f"{water.least_heat_kwh:g} kWh"),
            )
        ],
    )
    price = folder.mill.record.energy_price
    if price:
        yield shown(
            "cost",
            "Cost of what was metered",
            [work_out("cost", "", energy=metered, price=price[0])],
        )


def _density(folder: MillFolder, record: Charge) -> Iterator[Shown]:
    gravities = {stock.species: folder.species[stock.species].record for stock in record.stock}
    yield shown(
        "density",
        "Basic density of the timber",
        (
            work_out(
                "basic_density",
                species.trade_name,
                basic_specific_gravity=species.basic_specific_gravity,
            )
            for species in gravities.values()
            if species.basic_density is None and species.basic_specific_gravity is not None
        ),
        "Of several kinds, the mean weighed by their volumes." if len(gravities) > 1 else "",
    )


def _least_heat(
    folder: MillFolder, dossier: Dossier, water: WaterAndHeat, load: dict[str, Any]
) -> Shown:
    """Return the least heat, part by part, at the mean dry bulb of the log's intervals."""
    bulbs = (
        [point.dry_bulb_c for point in dossier.log.air if point.dry_bulb_c is not None]
        if dossier.log
        else []
    )
    try:
        cold = limit_table(folder).value("loading-temperature")
        mean = sum(bulbs) / len(bulbs)
        parts = least_heat_parts(
            water.volume_m3,
            water.basic_density_kg_m3,
            water.mc_from_pct,
            water.mc_to_pct,
            cold,
            mean,
        )._asdict()
    except (NoLimit, ValueError, ZeroDivisionError):
        return shown("least-heat", "", ())
    kiln = Temperature(mean, f"{mean:.1f} °C")
    named = [
        (name.replace("_", " "), Energy(float(part), f"{float(part):.0f} kWh"))
        for name, part in parts.items()
        if round(float(part))
    ]
    return shown(
        "least-heat",
        "Least heat",
        [
            work_out(
                "least_heat",
                "",
                start_temperature=Temperature(cold, f"{cold:g} °C"),
                temperature=kiln,
                **load,
            ),
            work_out("sum", ", ".join(name for name, _ in named), of=[part for _, part in named]),
        ],
        "With the mean dry bulb of the intervals in the table of the air; the figure above is had "
        "with every reading and unrounded values, and may differ in its last digits.",
        sample=True,
    )
