"""Record keeping: who wrote the record, and whether changes were recorded."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

from typing import Any

from kilnfolio.records.charge import Answer, Waiver
from kilnfolio.review.findings import (
    CHECKS,
    Breach,
    Case,
    NoData,
    NotApplicable,
    Pass,
    Results,
    check,
    is_own,
)
from kilnfolio.runtime.nearest import nearest

_GROUP = "record keeping"


@check(
    "who-wrote-it",
    title="Initials on hand entries",
    group=_GROUP,
    severity="question",
    claim="record",
    source="common practice",
    reason="If nobody signed an entry, there is nobody to ask about it.",
    passes="Every hand entry names who made it.",
)
def who_wrote_it(case: Case) -> Results:
    charge, entries = case.charge, 0
    for kind in ("weighings", "hand_readings", "step_changes", "events", "stops"):
        for index, entry in enumerate(getattr(charge, kind)):
            entries += 1
            if entry.by is None:
                yield Breach(
                    f"Nobody signed the entry in {kind} number {index + 1}.",
                    (case.place(kind, index),),
                    kind,
                )
    if not entries:
        raise NoData("the record holds no hand entries")
    yield Pass(f"Each of {entries} hand entries names who made it.")


@check(
    "signed",
    title="Record signed",
    group=_GROUP,
    severity="question",
    claim="record",
    source="common practice",
    reason="A signature says who answers for the record.",
    passes="The record is signed.",
)
def signed(case: Case) -> Results:
    if not case.charge.signatures:
        yield Breach("The record is not signed.", (case.place(),))
    yield Pass("Signed by " + ", ".join(one.by for one in case.charge.signatures) + ".")


@check(
    "dates-in-order",
    title="Dates in order",
    group=_GROUP,
    severity="fail",
    answers=(),
    claim="record",
    source="common practice",
    reason="Timber is sawn, stacked, dried and tested in that order; another order is a slip or "
    "a mix-up.",
    passes="Sawn, stacked, dried, tested: the dates are in order.",
)
def dates_in_order(case: Case) -> Results:
    charge = case.charge
    for index, stock in enumerate(charge.stock):
        for number, intake in enumerate(stock.intake):
            if intake.sawn and intake.sawn > charge.loaded.date():
                yield Breach(
                    f"Sawn on {intake.sawn}, after loading.",
                    (case.place("stock", index, "intake", number, "sawn"),),
                )
    if charge.stacking and charge.stacking.on > charge.loaded.date():
        yield Breach(
            f"Stacked on {charge.stacking.on}, after loading.", (case.place("stacking", "on"),)
        )
    for index, weighing in enumerate(charge.weighings):
        if weighing.at > charge.unloaded:
            yield Breach(
                f"Weighed on {case.clock(weighing.at)}, after unloading.",
                (case.place("weighings", index, "at"),),
                at=weighing.at,
            )
    for index, board in enumerate(charge.boards):
        if board.weighed_at > charge.started:
            yield Breach(
                f"Board {board.id} was cut on {case.clock(board.weighed_at)}, after heating began.",
                (case.place("boards", index, "weighed_at"),),
                board.id,
            )
    if charge.survey and charge.survey.at < charge.ended:
        yield Breach(
            f"Surveyed on {case.clock(charge.survey.at)}, before drying ended.",
            (case.place("survey", "at"),),
            at=charge.survey.at,
        )
    sawn = [intake.sawn for stock in charge.stock for intake in stock.intake if intake.sawn]
    days = [
        ("sawn", max(sawn, default=None)),
        ("stacked", charge.stacking and charge.stacking.on),
        ("loaded", charge.loaded.date()),
        ("dried", charge.ended.date()),
        ("surveyed", charge.survey and charge.survey.at.date()),
    ]
    yield Pass(
        "The dates are in order: " + ", ".join(f"{word} {day}" for word, day in days if day) + "."
    )


@check(
    "corrections-kept",
    title="Corrections keep the old value",
    group=_GROUP,
    severity="fail",
    claim="record",
    source="common practice",
    reason="A correction that shows the old value, the reason and a name is honest work; a value "
    "that was simply overwritten is no record.",
    passes="Every correction keeps its old value and leads to the value now in the record.",
)
def corrections_kept(case: Case) -> Results:
    if not case.charge.corrections:
        raise NotApplicable("no correction is on record")
    latest = {
        correction.field: index
        for index, correction in sorted(
            enumerate(case.charge.corrections), key=lambda item: item[1].at
        )
    }
    for field, index in latest.items():
        correction, place = case.charge.corrections[index], case.place("corrections", index)
        path = path_of(case.located.document.value, field)
        if path is None:
            yield Breach(
                f"The correction of {field} names nothing in this record.", (place,), field
            )
            continue
        now = str(value_at(case.located.document.value, path))
        if not _same_words(now, correction.new):
            yield Breach(
                f"{field} was corrected to {correction.new}, but the record now "
                f"says {now}: it was overwritten without a reason.",
                (case.place(*path), place),
                field,
            )
        elif _same_words(correction.old, correction.new):
            yield Breach(
                f"The correction of {field} keeps no old value: it says {correction.new} twice.",
                (place,),
                field,
            )


def _same_words(one: str, other: str) -> bool:
    return one.split() == other.split()


def path_of(record: object, field: str) -> tuple[str | int, ...] | None:
    """Return the path of the value that a correction names, as in 'boards.S3.green_mass'.

    An item of a list is named by its id, its time, or its index from 0. None if there is no such
    value.
    """
    path: list[str | int] = []
    step: str | int
    for word in field.split("."):
        if isinstance(record, list):
            named = [
                i
                for i, item in enumerate(record)
                if isinstance(item, dict)
                and word in (str(item.get("id")), str(item.get("at")), str(item.get("start")))
            ]
            numbered = [int(word)] if word.isdigit() and int(word) < len(record) else []
            if not named + numbered:
                return None
            step = (named + numbered)[0]
        elif isinstance(record, dict) and word in record:
            step = word
        else:
            return None
        path.append(step)
        record = value_at(record, (step,))
    return tuple(path)


def value_at(record: Any, path: tuple[str | int, ...]) -> object:
    """Return the value at a path of a parsed document."""
    for step in path:
        record = record[step]
    return record


@check(
    "waivers-explained",
    title="Answers name a finding and a time",
    group=_GROUP,
    severity="question",
    claim="record",
    source="common practice",
    reason="An answer is a signed reason for one finding. One that names no finding, or was signed "
    "before there was anything to sign, answers nothing.",
    passes="Every answer names a finding, and was signed after the charge was loaded.",
)
def waivers_explained(case: Case) -> Results:
    charge = case.charge
    given: list[tuple[str, int, str, Answer | Waiver]] = [
        *(("answers", i, one.finding.split("/")[0], one) for i, one in enumerate(charge.answers)),
        *(("waivers", i, one.check, one) for i, one in enumerate(charge.waivers)),
    ]
    if not given:
        raise NotApplicable("no answer is on record")
    for kind, index, slug, answer in given:
        key = "finding" if kind == "answers" else "check"
        named = getattr(answer, key)
        if is_own(slug) and case.own is None:
            continue
        if slug not in CHECKS and slug not in (case.own.checks if case.own else {}):
            near = nearest(slug, CHECKS, cutoff=0.5)
            yield Breach(
                f"An answer names '{slug}', which is not a check"
                + (f"; '{near[0]}' is." if near else "."),
                (case.place(kind, index, key),),
                slug,
            )
        elif answer.at < charge.loaded:
            yield Breach(
                f"The answer to '{named}' was signed on {case.clock(answer.at)}, "
                "before the charge was loaded.",
                (case.place(kind, index, "at"),),
                slug,
            )
    yield Pass(
        f"{'The answer' if len(given) == 1 else f'Each of {len(given)} answers'} names a check of "
        "this handbook and was signed after the charge was loaded."
    )
