"""A mill's records, reviews and forecasts for notebooks and other programs.

::

    from kilnfolio import api

    mill = api.open_mill("~/our-mill")
    mill.charges                                  # ('HB-25-041', 'HB-25-043', …)
    weighings = mill.table("weighings")           # a pandas DataFrame: one row per board and round
    weighings.attrs["units"]["mc_pct"]            # '%'
    mill.charge("HB-26-004").table("air")         # for one charge
    mill.review("HB-26-004").findings             # the findings of the checks
    mill.forecast("HB-26-040").end                # when a running charge is done

These names are stable: they change only with a version that may break something (the guide's
section on versions). Everything else in the package may change with any version.

Modules
-------
tables  the columns of each table, with units, keys, and who may see them
mill    an opened mill folder
export  the same tables as a Data Package, SQLite, Parquet or JSON
"""

from kilnfolio.api.mill import ChargeView, MillView, open_mill
from kilnfolio.api.tables import TABLES

__all__ = ["TABLES", "ChargeView", "MillView", "open_mill"]
