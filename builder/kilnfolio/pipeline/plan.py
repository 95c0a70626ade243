"""Every derived value of a site, in order: a value reads only those before it."""

from __future__ import annotations

from kilnfolio.archive import sealed_mill, standing
from kilnfolio.forecast.mill import drying_run, learnt_of, open_forecast
from kilnfolio.forecast.mill_loads import loads_of
from kilnfolio.forecast.mill_orders import order_loads
from kilnfolio.forecast.open_what_if import open_what_if
from kilnfolio.forecast.outcomes import charge_outcome
from kilnfolio.forecast.recorded import recorded_days
from kilnfolio.forecast.replay import replay
from kilnfolio.graph.derived import Step
from kilnfolio.graph.plan import Plan
from kilnfolio.handbook.compiled import book_chapter, site_chapter
from kilnfolio.pipeline.bags import about, bag
from kilnfolio.pipeline.pages import ALL_PAGES, ASSETS, chapter_page, customer_page, part, search
from kilnfolio.pipeline.pdfs import pdf
from kilnfolio.records import reading
from kilnfolio.records.kinds import INDEX
from kilnfolio.review.reviews import REVIEWS
from kilnfolio.site import context, limit_trials, measured, overlays, sealed
from kilnfolio.site.house import house
from kilnfolio.training.drills import scene
from kilnfolio.trends.control import looks, series, streams, verdicts
from kilnfolio.trends.ledger import degrade_ledger
from kilnfolio.trends.past import listed_charges, past_charge
from kilnfolio.trends.positions import position_map

#: What is made of one charge or lot and its review alone.
OF_ONE_RECORD: Step = (
    limit_trials.charge_limit_trials,
    charge_outcome,
    drying_run,
    replay,
    past_charge,
    standing.charge_standing,
    context.charge_line,
    sealed.charge_seal,
    overlays.charge_overlay,
    measured.measuring_line,
    scene,
    context.lot_line,
    standing.lot_standing,
    sealed.lot_view,
    sealed.lot_seal,
    listed_charges,
)
#: What many charges and lots give together, each step from those before.
OF_MANY_RECORDS: tuple[Step, ...] = (
    (
        loads_of,
        order_loads,
        recorded_days,
        learnt_of,
        limit_trials.lot_limit_trials,
        context.tally_of_year,
        context.last_shipped,
        context.register_part,
        streams,
    ),
    (open_forecast, open_what_if, series, site_chapter, book_chapter, limit_trials.limit_standings),
    (looks, degrade_ledger, position_map, part, chapter_page),
    (verdicts,),
)

PLAN = Plan(
    "kilnfolio.pipeline.plan:PLAN",
    INDEX,
    inputs=((sealed_mill.ledger,), (standing.sealed_records,), *REVIEWS, (house,)),
    bound=sealed_mill.SEALED,
    rest=(
        (reading.latest,),
        (context.build_date, sealed.address_key, sealed.lot_addresses),
        OF_ONE_RECORD,
        *OF_MANY_RECORDS,
        (pdf,),
        (*ASSETS, customer_page, *ALL_PAGES),
        (search,),
        (bag,),
        (about,),
    ),
)
