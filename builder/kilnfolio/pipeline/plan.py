"""Every derived value of a site, in order: a value reads only those before it."""

from __future__ import annotations

from kilnfolio.archive import sealed_mill, standing
from kilnfolio.forecast.mill import FORECASTS
from kilnfolio.forecast.mill_loads import loads_of
from kilnfolio.forecast.mill_orders import order_loads
from kilnfolio.forecast.open_what_if import OPEN_WHAT_IFS
from kilnfolio.forecast.outcomes import charge_outcome
from kilnfolio.forecast.recorded import recorded_days
from kilnfolio.forecast.replay import REPLAYS
from kilnfolio.graph.plan import Plan
from kilnfolio.handbook.compiled import book_chapter, site_chapter
from kilnfolio.pipeline.bags import about, bag
from kilnfolio.pipeline.pages import (
    ASSETS,
    OTHER_PAGES,
    PAGES_OF_CHARGE,
    PAGES_OF_LOT,
    chapter_page,
    part,
    search,
)
from kilnfolio.pipeline.pdfs import pdf
from kilnfolio.records import reading
from kilnfolio.records.kinds import INDEX
from kilnfolio.review.reviews import REVIEWS
from kilnfolio.site import context, limit_trials, measured, overlays, sealed
from kilnfolio.site.house import house
from kilnfolio.training.drills import scene
from kilnfolio.trends.control import CONTROL
from kilnfolio.trends.ledger import LEDGER
from kilnfolio.trends.past import PAST
from kilnfolio.trends.positions import POSITIONS

PLAN = Plan(
    "kilnfolio.pipeline.plan:PLAN",
    INDEX,
    inputs=((sealed_mill.ledger,), *REVIEWS, (house,)),
    bound=sealed_mill.SEALED,
    rest=(
        (reading.latest,),
        (context.build_date,),
        (charge_outcome,),
        *FORECASTS,
        (loads_of, order_loads, recorded_days),
        *REPLAYS,
        *PAST,
        *CONTROL,
        *LEDGER,
        *POSITIONS,
        *OPEN_WHAT_IFS,
        (sealed.address_key,),
        (standing.charge_standing,),
        (context.lot_line, standing.lot_standing, sealed.lot_view, sealed.lot_seal),
        (context.charge_line, sealed.charge_seal),
        (context.tally_of_year,),
        (context.register_part,),
        (overlays.charge_overlay,),
        (measured.measuring_line,),
        (limit_trials.charge_limit_trials,),
        (limit_trials.lot_limit_trials,),
        (limit_trials.limit_standings,),
        (scene,),
        (site_chapter,),
        (book_chapter,),
        (part,),
        (chapter_page,),
        (pdf,),
        *((value,) for value in ASSETS),
        PAGES_OF_LOT,
        PAGES_OF_CHARGE,
        *((value,) for value in OTHER_PAGES),
        (search,),
        (bag,),
        (about,),
    ),
)
