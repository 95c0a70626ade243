"""Record keeping: who wrote it, and whether anything was changed without saying so."""
# The decorator of a check says what it asks and why; its page is made from that.
# ruff: noqa: D103

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import Any

from kilnfolio.review.findings import CHECKS, Case, Complaint, NotChecked, check

_GROUP = "record keeping"


@check(
    "who-wrote-it",
    title="Initials on hand entries",
    group=_GROUP,
    gravity="query",
    claim="record",
    source="common practice",
    reason="An entry nobody signed can be asked of nobody.",
    held="Every hand entry names who made it.",
)
def who_wrote_it(case: Case) -> Iterator[Complaint]:
    charge, entries = case.charge, 0
    for kind in ("weighings", "hand_readings", "step_changes", "events", "stops"):
        for index, entry in enumerate(getattr(charge, kind)):
            entries += 1
            if entry.by is None:
                yield Complaint(
                    f"Nobody signed the entry in {kind} number {index + 1}.",
                    (case.place(kind, index),),
                    kind,
                )
    if not entries:
        raise NotChecked("the record holds no hand entries")


@check(
    "signed",
    title="Record signed",
    group=_GROUP,
    gravity="query",
    claim="record",
    source="common practice",
    reason="A record stands when somebody stands behind it.",
    held="The record is signed.",
)
def signed(case: Case) -> Iterator[Complaint]:
    if not case.charge.signatures:
        yield Complaint("The record is not signed.", (case.place(),))


@check(
    "dates-in-order",
    title="Dates in order",
    group=_GROUP,
    gravity="refused",
    claim="record",
    source="common practice",
    reason="Timber is sawn, stacked, dried and tested in that order; another order is a slip or "
    "a mix-up.",
    held="Sawn, stacked, dried, tested: the dates stand in order.",
)
def dates_in_order(case: Case) -> Iterator[Complaint]:
    charge = case.charge
    for index, stock in enumerate(charge.stock):
        for number, intake in enumerate(stock.intake):
            if intake.sawn and intake.sawn > charge.loaded.date():
                yield Complaint(
                    f"Sawn on {intake.sawn}, after loading.",
                    (case.place("stock", index, "intake", number, "sawn"),),
                )
    if charge.stacking and charge.stacking.on > charge.loaded.date():
        yield Complaint(
            f"Stacked on {charge.stacking.on}, after loading.", (case.place("stacking", "on"),)
        )
    for index, weighing in enumerate(charge.weighings):
        if weighing.at > charge.unloaded:
            yield Complaint(
                f"Weighed on {case.clock(weighing.at)}, after unloading.",
                (case.place("weighings", index, "at"),),
            )
    for index, board in enumerate(charge.boards):
        if board.weighed_at > charge.started:
            yield Complaint(
                f"Board {board.id} was cut on {case.clock(board.weighed_at)}, after heating began.",
                (case.place("boards", index, "weighed_at"),),
                board.id,
            )
    if charge.survey and charge.survey.at < charge.ended:
        yield Complaint(
            f"Surveyed on {case.clock(charge.survey.at)}, before drying ended.",
            (case.place("survey", "at"),),
        )


@check(
    "corrections-kept",
    title="Corrections keep the old value",
    group=_GROUP,
    gravity="refused",
    claim="record",
    source="common practice",
    reason="A value changed with its old value, reason and name beside it is honest work; a "
    "value changed without is not a record.",
    held="Every correction leads to the value that stands in the record.",
)
def corrections_kept(case: Case) -> Iterator[Complaint]:
    if not case.charge.corrections:
        raise NotChecked("no correction is on record")
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
            yield Complaint(
                f"The correction of {field} names nothing in this record.", (place,), field
            )
            continue
        now = str(value_at(case.located.document.value, path))
        if not _same_words(now, correction.new):
            yield Complaint(
                f"{field} was corrected to {correction.new}, and {now} stands in the "
                "record: it was overwritten without a reason.",
                (case.place(*path), place),
                field,
            )
        elif _same_words(correction.old, correction.new):
            yield Complaint(
                f"The correction of {field} keeps no old value: it says {correction.new} twice.",
                (place,),
                field,
            )


def _same_words(one: str, other: str) -> bool:
    return one.split() == other.split()


def path_of(record: object, field: str) -> tuple[str | int, ...] | None:
    """Return the path of a value from the words of a correction, as in 'boards.S3.green_mass'.

    An item of a list goes by its id, or by its number from 0. None where nothing stands there.
    """
    path: list[str | int] = []
    step: str | int
    for word in field.split("."):
        if isinstance(record, list):
            named = [
                i
                for i, item in enumerate(record)
                if isinstance(item, dict) and str(item.get("id")) == word
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
    title="Waivers name a check and a time",
    group=_GROUP,
    gravity="query",
    claim="record",
    source="common practice",
    reason="A waiver is a signed reason for one finding. One that names no check, or was signed "
    "before there was anything to sign, excuses nothing.",
    held="Every waiver names a check of this book, and was signed after the charge was loaded.",
)
def waivers_explained(case: Case) -> Iterator[Complaint]:
    if not case.charge.waivers:
        raise NotChecked("no waiver is on record")
    for index, waiver in enumerate(case.charge.waivers):
        place = (case.place("waivers", index, "check"),)
        if waiver.check not in CHECKS:
            near = difflib.get_close_matches(waiver.check, CHECKS, n=1, cutoff=0.5)
            yield Complaint(
                f"A waiver names '{waiver.check}', which is no check"
                + (f"; '{near[0]}' is." if near else "."),
                place,
                waiver.check,
            )
        elif waiver.at < case.charge.loaded:
            yield Complaint(
                f"The waiver of '{waiver.check}' was signed on {case.clock(waiver.at)}, "
                "before the charge was loaded.",
                (case.place("waivers", index, "at"),),
                waiver.check,
            )
