"""Lots: whether what is shipped meets the order."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.physics.survey import readings_needed, share_shown
from kilnfolio.records.charge import Charge
from kilnfolio.records.lot import Pack
from kilnfolio.review.assessment import chosen_readings, counted, judge, readings_of
from kilnfolio.review.dossier import Assessment
from kilnfolio.review.findings import Breach, LotCase, NoData, NotApplicable, Pass, Results, check

_GROUP = "lot"


@check(
    "lot-moisture",
    title="Survey against the order",
    group=_GROUP,
    severity="fail",
    answers=(),
    of="lot",
    limits=(
        "en-14298-mean-low",
        "en-14298-mean-high",
        "en-14298-piece-low",
        "en-14298-piece-high",
        "en-14298-share",
    ),
    source="en-14298, or the order",
    reason="The order says what the lot must be. The readings say what it is.",
    passes="The readings meet the order.",
)
def lot_moisture(case: LotCase) -> Results:
    judgement = judge(case)
    if judgement.met is None:
        raise NoData(judgement.sentence.rstrip("."))
    if not judgement.met:
        yield Breach(
            f"Lot misses its order ({judgement.rule}): "
            f"{counted(judgement.inside or 0, judgement.n, judgement.mean_pct or 0.0)}.",
            (case.place("order"),),
            "lot",
        )
    yield Pass(f"{judgement.sentence} Ordered: {judgement.rule}.")


@check(
    "sample-size-for-claim",
    title="Readings against the claim",
    group=_GROUP,
    severity="question",
    of="lot",
    source="Clopper–Pearson lower bound; pieces picked at random",
    reason="Twelve good readings do not show what forty-five would.",
    passes="The readings are enough for the sentence ordered.",
)
def sample_size_for_claim(case: LotCase) -> Results:
    order = case.lot.order
    if order.claimed_confidence is None:
        raise NotApplicable("the order asks for no share to be shown at a confidence")
    for name, charge in case.charges.items():
        if charge.record.survey and charge.record.survey.chosen == "convenience":
            yield Breach(
                f"The survey of charge {name} took whatever pieces were at hand: however many they "
                "are, they do not show a share of the lot.",
                (charge.place("survey", "chosen"),),
                name,
            )
    judgement = judge(case)
    if judgement.inside is None or judgement.share_asked_pct is None:
        raise NoData(judgement.sentence.rstrip("."))
    confidence = order.claimed_confidence.value
    shown = 100.0 * share_shown(judgement.n, judgement.n - judgement.inside, confidence / 100.0)
    if judgement.share_asked_pct >= 100.0:
        yield Breach(
            "No number of readings shows 100 % of a lot, unless every piece is measured.",
            (case.place("order", "claimed_confidence"),),
            "survey",
            shown,
            judgement.share_asked_pct,
            "%",
        )
    elif shown < judgement.share_asked_pct:
        needed = readings_needed(judgement.share_asked_pct / 100.0, confidence / 100.0)
        yield Breach(
            f"Too few readings for that sentence: {_readings(case, judgement)}, "
            f"{judgement.inside} within, "
            f"show at least {shown:.1f} % of the lot at {confidence:g} % confidence, not "
            f"{judgement.share_asked_pct:g} %. With none outside, {needed} readings would.",
            (case.place("order", "claimed_confidence"),),
            "survey",
            judgement.n,
            needed,
            "readings",
        )
    yield Pass(
        f"{judgement.inside} of {judgement.n} readings within show at least {shown:.1f} % "
        f"of the lot at {confidence:g} % confidence; {judgement.share_asked_pct:g} % was "
        "asked."
    )


def _readings(case: LotCase, judgement: Assessment) -> str:
    chosen = chosen_readings(case)
    if chosen.of_charges == judgement.n:
        return f"{judgement.n} readings"
    return f"{judgement.n} of {chosen.of_charges} readings are of this lot's packs"


@check(
    "survey-age",
    title="Survey age at dispatch",
    group=_GROUP,
    severity="question",
    of="lot",
    limits=("survey-age",),
    source="common practice",
    reason="After it was measured, timber goes on changing with the air of the shed.",
    passes="The survey was fresh at dispatch.",
)
def survey_age(case: LotCase) -> Results:
    if case.lot.shipped is None:
        raise NotApplicable("the lot is not shipped")
    if not case.surveys:
        raise NoData("no survey is on record")
    days = max((case.lot.shipped - survey.at).days for survey in case.surveys)
    allowed = case.limits.value("survey-age")
    if days > allowed:
        yield Breach(
            f"Re-measure before dispatch: the survey was {days} days old.",
            (case.place("shipped"),),
            "survey",
            days,
            allowed,
            "days",
            at=case.lot.shipped,
        )
    yield Pass(f"The survey was {days} days old at dispatch.")


@check(
    "storage-air",
    title="Shed air against lot MC",
    group=_GROUP,
    severity="question",
    of="lot",
    limits=("storage-air",),
    source="common practice",
    reason="A lot stored in the wrong air drifts out of its specification.",
    passes="The shed's air suits the lot.",
)
def storage_air(case: LotCase) -> Results:
    storage = case.lot.storage
    if storage is None or not case.surveys:
        raise NoData("the shed's air or the survey is not on record")
    emc = equilibrium_moisture_content(storage.temperature.value, storage.relative_humidity.value)
    mean = float(readings_of(case).mean())
    allowed = case.limits.value("storage-air")
    if abs(emc - mean) > allowed:
        yield Breach(
            f"Shed will change this lot: its air is at {emc:.1f} % EMC, the lot at {mean:.1f} %.",
            (case.place("storage"),),
            "shed",
            emc - mean,
            allowed,
            "points",
        )
    yield Pass(f"The shed's air is at {emc:.1f} % EMC, the lot at {mean:.1f} %.")


@check(
    "pack-in-charge",
    title="Pack belongs to its charge",
    group=_GROUP,
    severity="fail",
    answers=(),
    of="lot",
    claim="record",
    source="common practice",
    reason="The chain from pack to charge is what a record is for.",
    passes="Every pack is in the stacking record of its charge.",
)
def pack_in_charge(case: LotCase) -> Results:
    known = 0
    for index, pack in enumerate(case.lot.packs):
        stacking = case.charges[pack.charge].record.stacking
        place = (case.place("packs", index, "number"),)
        if stacking is None or not stacking.packs:
            continue
        known += 1
        others = [name for name in case.stacked_in[pack.number] if name != pack.charge]
        if pack.number in stacking.packs and others:
            yield Breach(
                f"Pack {pack.number} is in two charges: {pack.charge} and {', '.join(others)}.",
                place,
                pack.number,
            )
        if pack.number not in stacking.packs:
            yield Breach(
                f"Pack {pack.number} is not in the stacking record of charge {pack.charge}.",
                place,
                pack.number,
            )
    if not known:
        raise NoData("no stacking record lists packs")
    if known < len(case.lot.packs):
        raise NoData(
            f"{len(case.lot.packs) - known} of {len(case.lot.packs)} packs come from "
            "charges whose stacking record lists no packs"
        )
    yield Pass(f"Each of {known} packs is in the stacking record of its charge, and of no other.")


@check(
    "shipped-in-order",
    title="Shipped after tested",
    group=_GROUP,
    severity="fail",
    answers=(),
    of="lot",
    claim="record",
    source="common practice",
    reason="A lot shipped before its test goes out untested.",
    passes="The lot was shipped after drying and testing.",
)
def shipped_in_order(case: LotCase) -> Results:
    if case.lot.shipped is None:
        raise NotApplicable("the lot is not shipped")
    for pack in case.lot.packs:
        charge = case.charges[pack.charge].record
        latest = max(charge.unloaded, charge.survey.at if charge.survey else charge.unloaded)
        if case.lot.shipped < latest:
            yield Breach(
                f"Shipped before charge {charge.id} was unloaded and tested.",
                (case.place("shipped"),),
                charge.id,
            )
            return
    yield Pass(
        "The lot was shipped after "
        f"{', '.join(sorted({pack.charge for pack in case.lot.packs}))} "
        "had been unloaded and, where surveyed, surveyed."
    )


@check(
    "volume-out",
    title="Volume out against volume in",
    group=_GROUP,
    severity="fail",
    of="lot",
    claim="record",
    limits=("volume-loss",),
    source="common practice",
    reason="More timber out than in means a pack from elsewhere; much less, a pack unaccounted "
    "for. Shrinkage alone takes some per cent.",
    passes="The timber that left agrees with what went in.",
)
def volume_out(case: LotCase) -> Results:
    place, allowed = (case.place("packs"),), case.limits.value("volume-loss")
    for charge_id, packs in case.packs_out.items():
        charge = case.charges[charge_id].record
        out = sum(pack.volume.value for pack in packs)
        volume_in = sum(stock.volume.value for stock in charge.stock)
        if out > volume_in:
            yield Breach(
                f"More timber out than in: {out:.2f} m³ of charge {charge_id}, which "
                f"held {volume_in:.2f} m³.",
                place,
                charge_id,
                out,
                volume_in,
                "m³",
            )
            continue
        lost = 100.0 * (1.0 - out / volume_in)
        if lost > allowed and _all_packed(charge, packs):
            yield Breach(
                f"{lost:.0f} % of charge {charge_id} is lost between loading and packing: "
                f"{volume_in:.2f} m³ in, {out:.2f} m³ out.",
                place,
                charge_id,
                lost,
                allowed,
                "%",
                severity="question",
            )
    yield Pass(
        "No more timber left than went in"
        + "".join(
            f"; charge {name}: {sum(pack.volume.value for pack in packs):.2f} of "
            f"{sum(one.volume.value for one in case.charges[name].record.stock):.2f}"
            " m³ packed"
            for name, packs in case.packs_out.items()
        )
        + "."
    )


def _all_packed(charge: Charge, packs: tuple[Pack, ...]) -> bool:
    """Return whether every pack of a charge is in a lot, so that a loss can be computed."""
    return (
        charge.stacking is not None
        and bool(charge.stacking.packs)
        and set(charge.stacking.packs) <= {pack.number for pack in packs}
    )


@check(
    "claim-evidence",
    title="Certified claim",
    group=_GROUP,
    severity="fail",
    answers=(),
    of="lot",
    claim="record",
    source="retention: eudr; FSC and PEFC from memory",
    reason="A claim on the way out needs the same claim on the way in.",
    passes="The certificate claim is on the intake papers.",
)
def claim_evidence(case: LotCase) -> Results:
    if case.lot.claim is None:
        raise NotApplicable("no certificate claim is made")
    for charge_id in sorted({pack.charge for pack in case.lot.packs}):
        stock = case.charges[charge_id].record.stock
        intakes = [intake for item in stock for intake in item.intake]
        if not intakes or any(intake.claim is None for intake in intakes):
            yield Breach(
                f"Claim lacks input record: the intake of charge {charge_id} has none.",
                (case.place("claim"),),
                charge_id,
            )
    yield Pass("Every intake of the charges it came from carries a certificate claim.")
