"""What a mill's own checks are written with; see the guide.

::

    from kilnfolio.api.checks import Breach, Pass, Row, check
"""

from kilnfolio.review.findings import (
    Breach,
    Case,
    NoData,
    NotApplicable,
    Pass,
    Results,
    Row,
    check,
)
from kilnfolio.review.own_code import exporter, figure

__all__ = [
    "Breach",
    "Case",
    "NoData",
    "NotApplicable",
    "Pass",
    "Results",
    "Row",
    "check",
    "exporter",
    "figure",
]
