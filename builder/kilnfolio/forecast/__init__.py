"""The calibrated drying model: it turns an open charge into a forecast.

A `Forecast` (see `result`) says when each step falls due and when the charge is done, with bands of
80 and 95 %, each board's pace, a fan for the chart, early warnings, and how well the same forecast
did on the mill's earlier charges. Its times are aware datetimes, ready to print::

    found = mill.open_forecasts(folder)["HB-26-042"]    # cached; None before a weighing
    found = mill.of_charge(folder, "HB-26-042", as_of)  # as it stood at a given time
    found.steps[0].due.median, found.end.low80, found.boards[0].pace, found.warnings
    result.CAUTION                                      # shown with every forecast

===============  ==================================================================================
`inputs`         the data a forecast reads of a charge, as plain arrays
`curve`, `pace`  the mill's drying curve, and each board's pace against it
`march`          charges stepped through the rest of their schedules
`hindcast`       the errors of forecasts of earlier charges, which give the bands
`charge`         the forecast of a charge from all of these
`warning`        weighings that do not fit, swapped tags, a common drift
`what_if`        the effect of a changed schedule on a model board, as ratios
`changes`        changed schedules: steps moved, capped, milder, or as another kiln keeps them
`effects`        what-ifs with the mill's woods, schedules and kilns
`replay`         a past charge computed as a board: gradient index, and the effect of changes
`open_what_if`   what-ifs for the rest of an open charge; `question`: those asked at a terminal
`yard`, `store`  air-drying and storage, in the weather of `outdoors`
`green_load`     days a load will take, before it goes in; `energy`: its energy and cost
`plan`           all kilns and orders; `calendar_file`: the same as a calendar file
`words`          a forecast in sentences
`evaluation`     the accuracy of forecasts, compared with a straight line and an exponential
`mill`           reads a mill's charges; `mill_loads`, `mill_orders`: its coming loads and orders
===============  ==================================================================================

A forecast is an estimate for the mill's own people. It enters no dossier, no seal and no customer
page, and it changes no verdict.
"""
