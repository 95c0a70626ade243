"""Workings of a lot: its readings, and how much of the lot they represent."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.review.assessment import CONFIDENCE_PCT
from kilnfolio.review.dossier import LotDossier
from kilnfolio.site.pages.workings import Shown, Workings, by_id, percent, shown, work_out


def lot_workings(dossier: LotDossier) -> Workings:
    """Return the working of every computed number of a lot's page."""
    return by_id(_lot(dossier)) if dossier.readings else {}


def _lot(dossier: LotDossier) -> Iterator[Shown]:
    judgement, readings = dossier.judgement, [percent(value) for value in dossier.readings]
    yield shown("mean", "Mean of the readings", [work_out("mean", "", of=readings)])
    yield shown(
        "range",
        "Driest and wettest reading",
        [work_out("least", "driest", of=readings), work_out("greatest", "wettest", of=readings)],
    )
    if judgement.inside is None:
        return
    ends = {
        name: percent(value, 1)
        for name, value in (
            ("lowest", judgement.piece_low_pct),
            ("highest", judgement.piece_high_pct),
        )
        if value is not None
    }
    yield shown(
        "within",
        "Readings within what was ordered for a piece",
        [work_out("within", "", of=readings, **ends)],
    )
    confidence, failures = percent(CONFIDENCE_PCT, 0), judgement.n - judgement.inside
    if judgement.share_shown_pct is not None:
        yield shown(
            "share",
            "Share of the lot the readings support",
            [
                work_out(
                    "share_shown",
                    "",
                    readings=judgement.n,
                    failures=failures,
                    confidence=confidence,
                )
            ],
        )
    if judgement.more_readings is not None and judgement.share_asked_pct is not None:
        yield shown(
            "more",
            "Further readings that would show the share asked",
            [
                work_out(
                    "more_readings",
                    "",
                    share=percent(judgement.share_asked_pct, 1),
                    confidence=confidence,
                    failures=failures,
                    readings=judgement.n,
                )
            ],
        )
