"""The calibrated drying model: an open charge to its forecast.

`Forecast` (see `result`) says when each step falls due and when the charge is done, with bands of
80 and 95 %, each board's pace, a fan for the chart, early warnings, and how the same forecast did
on the mill's earlier charges. Its times are aware datetimes: a page prints them as they stand::

    found = mill.open_forecasts(folder)["HB-26-042"]    # cached; None before a weighing
    found = mill.of_charge(folder, "HB-26-042", as_of)  # as it stood at a moment
    found.steps[0].due.median, found.end.low80, found.boards[0].pace, found.warnings
    result.CAUTION                                      # stands beside every forecast

===============  ==================================================================================
`inputs`         what a forecast reads of a charge: plain arrays
`curve`, `pace`  the mill's drying curve, and each board's pace against it
`march`          charges stepped through the rest of their schedules
`hindcast`       how wrong forecasts of earlier charges were: the bands
`charge`         all of that put together
`warning`        weighings that do not fit, swapped tags, a common drift
`what_if`        a changed schedule by a board model: ratios
`changes`        steps moved, capped, milder, or as another kiln keeps them
`effects`        the same with the mill's woods, schedules and kilns
`replay`         a past charge as a board: gradient index, and what one change would have done
`open_what_if`   the same for the rest of an open charge; `asked`: one change asked about
`yard`, `store`  air-drying and storage, with the weather of `outdoors`
`green_load`     days of a load before it goes in; `energy`: what it takes in a kiln
`plan`           all kilns and orders; `calendar_file`: the same for a calendar
`words`          a forecast in sentences
`evaluation`     how good forecasts are, beside a straight line and an exponential
`mill`           reads a mill's charges; `mill_loads`, `mill_orders`: loads to come, and orders
===============  ==================================================================================

A forecast is an estimate for the people of the mill. It enters no dossier, no seal and no page for
customers, and changes no verdict.
"""
