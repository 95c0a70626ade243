"""The calibrated drying model: an open charge to its forecast.

`charge.forecast` gives a `Forecast` (see `result`): when each step falls due, when the charge is
done, 80 and 95 % bands, each board's pace, a fan for the chart, and how the same forecast did on
the mill's earlier charges. Times are aware datetimes, so a page renders them as they stand::

    found = forecast.of_charge(folder, "HB-26-031", as_of)   # mill records to Forecast
    found.steps[0].due.median, found.end.low80, found.boards[0].pace, found.fan.times
    forecast.CAUTION                                         # stands beside every forecast

A forecast is an estimate for the people of the mill. It enters no dossier, no seal and no page for
customers, and changes no verdict.
"""
