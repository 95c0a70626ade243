"""An audit's report as a single HTML file, and as a PDF.

Audited files are not trusted: their words are shown as plain text without control characters.
"""

from __future__ import annotations

from collections.abc import Mapping
from gettext import NullTranslations
from typing import Any

from kilnfolio.charts.paper import paper_sheet
from kilnfolio.paper.printing import pdf_of
from kilnfolio.rendering.compiled import PackageEnvironment
from kilnfolio.rendering.interface import install_translations
from kilnfolio.rendering.safety import SAFETY


def plain(value: object) -> str:
    """Return text with every non-printing character replaced by its code."""
    text = str(value).replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


def _render(report: Mapping[str, Any], style: str) -> str:
    env = PackageEnvironment()
    install_translations(env, NullTranslations())
    env.filters["plain"] = plain
    return env.get_template("audit_report.html").render(report=report, style=style, SAFETY=SAFETY)


def report_html(report: Mapping[str, Any]) -> str:
    """Return an audit's report as a self-contained HTML file.

    Parameters
    ----------
    report : mapping
        The report as plain values, with its verdicts in words.
    """
    return _render(report, paper_sheet("report.css"))


def report_pdf(report: Mapping[str, Any]) -> bytes:
    """Return an audit's report as a PDF in the bundled fonts; see `report_html`."""
    return pdf_of(_render(report, ""), ("tokens.css", "report.css"))[0]
