"""Sample boards: whether they are enough, represent the load, and agree."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt

import numpy as np

from kilnfolio.physics.moisture import MC_RANGE_PCT, oven_dry_mass
from kilnfolio.records.charge import Board, ChargeStock
from kilnfolio.records.problems import Place
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check

_GROUP = "sample boards"


@check(
    "sample-count",
    title="Number of sample boards",
    group=_GROUP,
    severity="question",
    limits=("sample-count",),
    source="dry-kiln-operators-manual, ch. 6 (from memory)",
    reason="Few boards can agree by luck; the wettest part of the load then goes unseen.",
    passes="There are enough sample boards for the load.",
)
def sample_count(case: Case) -> Results:
    count, least = len(case.need_boards()), case.limits.value("sample-count")
    if count < least:
        yield Breach(
            f"Too few samples for this load: {count}, at least {least:g} are usual.",
            (case.place("boards"),),
            "boards",
            count,
            least,
            "boards",
        )
    yield Pass(f"{count} sample boards; at least {least:g} are usual.")


@check(
    "sample-coverage",
    title="A board for every kind of timber",
    group=_GROUP,
    severity="question",
    source="common practice",
    reason="A kind of timber without a board is dried blind.",
    passes="Every species and thickness in the load has a sample board.",
)
def sample_coverage(case: Case) -> Results:
    boards = case.need_boards()
    if len(case.charge.stock) == 1:
        raise NotApplicable("the load is of one kind of timber")
    for index, stock in enumerate(case.charge.stock):
        if not any(_cut_from(history.board, stock) for history in boards):
            yield Breach(
                f"No sample represents {case.species[stock.species].trade_name}, "
                f"{stock.thickness.entered}.",
                (case.place("stock", index, "species"),),
                stock.species,
            )
    yield Pass(f"Each of {len(case.charge.stock)} kinds of timber has a sample board.")


def _cut_from(board: Board, stock: ChargeStock) -> bool:
    """Return whether a board was cut from this timber of a mixed load, according to its record."""
    return board.species == stock.species and (
        board.thickness is None or board.thickness.value == stock.thickness.value
    )


@check(
    "section-pair",
    title="Sections of one board",
    group=_GROUP,
    severity="question",
    limits=("section-pair",),
    source="common practice",
    reason="The two sections of a board should agree; if they do not, one has a knot or the wrong "
    "tag.",
    passes="The sections of every board agree.",
)
def section_pair(case: Case) -> Results:
    paired = [(i, h) for i, h in enumerate(case.need_boards()) if len(h.sections) > 1]
    if not paired:
        raise NoData("no board has two sections")
    allowed, widest = case.limits.value("section-pair"), 0.0
    for index, history in paired:
        mcs = [section.mc_pct for section in history.sections]
        if not history.mean_mc_pct:
            continue
        apart = 100.0 * (max(mcs) - min(mcs)) / history.mean_mc_pct
        if apart > allowed:
            yield Breach(
                f"Sections of board {history.board.id} disagree: "
                + " and ".join(f"{mc:.1f} %" for mc in mcs)
                + "; check knot or tag.",
                (case.place("boards", index, "sections"),),
                history.board.id,
                apart,
                allowed,
                "%",
            )
        widest = max(widest, apart)
    yield Pass(
        f"The sections of {len(paired)} boards differ by no more than {widest:.1f} % of their mean."
    )


@check(
    "oven-constancy",
    title="Sections dried to constant mass",
    group=_GROUP,
    severity="question",
    limits=("oven-constancy",),
    source="en-13183-1, constant mass",
    reason="A section taken from the oven too soon makes every MC of its board read low.",
    passes="Every section had stopped losing mass in the oven.",
)
def oven_constancy(case: Case) -> Results:
    allowed, known = case.limits.value("oven-constancy"), 0
    for index, board in enumerate(case.charge.boards):
        for number, section in enumerate(board.sections):
            if section.oven_dry_before is None:
                continue
            known += 1
            last = section.oven_dry.value
            lost = 100.0 * (section.oven_dry_before.value - last) / last
            if lost > allowed:
                yield Breach(
                    f"Section {section.id} of board {board.id} may not be fully dry: it still lost "
                    f"{lost:.2f} % in its last two hours in the oven.",
                    (case.place("boards", index, "sections", number, "oven_dry_before"),),
                    board.id,
                    lost,
                    allowed,
                    "%",
                )
    if not known:
        raise NoData("no section was weighed twice in the oven")
    yield Pass(f"Each of {known} sections weighed twice in the oven had stopped losing mass.")


@check(
    "board-sides",
    title="Boards on both sides of the load",
    group=_GROUP,
    severity="note",
    source="rietz-1951, sample placement",
    reason="The side the air leaves dries last; boards on one side alone tell half the story.",
    passes="Boards sit on both sides of the load.",
)
def board_sides(case: Case) -> Results:
    sides = {history.board.side for history in case.need_boards() if history.board.side}
    if not sides:
        raise NoData("no board says which side it sits on")
    if len(sides) == 1 and sides != {"middle"}:
        yield Breach(
            f"Samples all on one side: {next(iter(sides))}.", (case.place("boards"),), "boards"
        )
    yield Pass(f"Boards sit on these sides of the load: {', '.join(sorted(sides))}.")


@check(
    "weighing-interval",
    title="Daily weighing while wet",
    group=_GROUP,
    severity="question",
    limits=("weighing-interval", "weighing-interval-above"),
    source="common practice",
    reason="Refractory timber can be spoiled in a day, so it is weighed every day while wet.",
    passes="Boards were weighed often enough while wet.",
)
def weighing_interval(case: Case) -> Results:
    if not any(case.species[stock.species].refractory for stock in case.charge.stock):
        raise NotApplicable("no timber in the charge is refractory")
    above, longest = (
        case.limits.value("weighing-interval-above"),
        case.limits.value("weighing-interval"),
    )
    most = 0.0
    if len(case.controls) < 2:
        raise NoData("fewer than two weighings are on record")
    for before, after in zip(case.controls, case.controls[1:], strict=False):
        hours = (after.at - before.at).total_seconds() / 3600.0
        if before.mc_pct > above and hours > longest and before.at >= case.charge.started:
            yield Breach(
                f"No weighing for {hours:.0f} h after {case.clock(before.at)} at "
                f"{before.mc_pct:.0f} % MC.",
                _round_place(case, after.at),
                "boards",
                hours,
                longest,
                "h",
                at=before.at,
            )
        if before.mc_pct > above and before.at >= case.charge.started:
            most = max(most, hours)
    if not most:
        raise NotApplicable(f"no weighing after heating began was above {above:g} %")
    yield Pass(f"Above {above:g} % the boards were weighed at least every {most:.0f} h.")


def _round_place(case: Case, at: dt.datetime) -> tuple[Place, ...]:
    return tuple(
        case.place("weighings", index)
        for index, weighing in enumerate(case.charge.weighings)
        if weighing.at == at
    )


@check(
    "controlling-mc",
    title="Controlling MC on the sheet",
    group=_GROUP,
    severity="fail",
    limits=("controlling-mc",),
    source="common practice",
    reason="The controlling MC decides every step. The boards are ranked again at each weighing.",
    passes="Every controlling MC on the sheet follows from its boards.",
)
def controlling_mc(case: Case) -> Results:
    stated = [
        (i, weighing.at, weighing.stated_controlling_mc.value)
        for i, weighing in enumerate(case.charge.weighings)
        if weighing.stated_controlling_mc is not None
    ]
    if not stated:
        raise NotApplicable("the sheet states no controlling MC")
    allowed, judged = case.limits.value("controlling-mc"), 0
    found = {control.at: control for control in case.controls}
    for index, at, said in stated:
        control = found.get(at)
        if control is None:
            continue
        if abs(said - control.mc_pct) > allowed:
            yield Breach(
                f"Controlling MC on {case.clock(at)} is {control.mc_pct:.1f} %, not "
                f"{said:.1f} % (boards {', '.join(control.boards)}).",
                (case.place("weighings", index, "stated_controlling_mc"),),
                "controlling MC",
                said - control.mc_pct,
                allowed,
                "points",
                at=at,
            )
        judged += 1
    if not judged:
        raise NoData("no stated controlling MC has a weighing to compare it with")
    yield Pass(
        f"Each of {judged} controlling MC values on the sheet follows from its boards to "
        f"within {allowed:g} point."
    )


@check(
    "re-section",
    title="Calculated against re-sectioned MC",
    group=_GROUP,
    severity="question",
    limits=("re-section",),
    source="common practice",
    reason="A section cut late in drying shows the true MC of the board and corrects the first "
    "estimate.",
    passes="Later sections confirm the oven-dry masses.",
)
def re_section(case: Case) -> Results:
    allowed, cut = case.limits.value("re-section"), 0
    for index, history in enumerate(case.need_boards()):
        for number, later in enumerate(history.board.resections):
            mcs = [100.0 * (s.green.value / s.oven_dry.value - 1.0) for s in later.sections]
            if not mcs:
                continue
            cut += 1
            mass, mean = later.board_mass.value, float(np.mean(mcs))
            calculated = 100.0 * (mass / history.oven_dry_g - 1.0)
            if abs(calculated - mean) > allowed:
                yield Breach(
                    f"Board {history.board.id} on {case.clock(later.at)}: sections say "
                    f"{mean:.1f} %, "
                    f"calculation {calculated:.1f} %. The oven-dry mass becomes "
                    f"{oven_dry_mass(mass, mean):.0f} g."
                    if MC_RANGE_PCT[0] <= mean <= MC_RANGE_PCT[1]
                    else f"Board {history.board.id} on {case.clock(later.at)}: sections say "
                    f"{mean:.1f} %, which no wood can have.",
                    (case.place("boards", index, "resections", number),),
                    history.board.id,
                    calculated - mean,
                    allowed,
                    "points",
                    at=later.at,
                )
    if not cut:
        raise NotApplicable("no board was sectioned again")
    yield Pass(f"Later sections confirm {cut} oven-dry masses to within {allowed:g} point of MC.")
