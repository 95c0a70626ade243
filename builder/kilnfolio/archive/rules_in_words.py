"""The rules behind a record in words, for readers with another kilnfolio or none."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from kilnfolio.archive.by_hand import WIDTH, heading, wrapped
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.findings import CHECKS


def rules_used(dossier: Dossier) -> Iterator[str]:
    """Yield the part of the README about the rules by which the record was made."""
    rules = dossier.rules
    yield from heading("Rules used")
    for name, value in (
        ("rules", f"version {rules.version}"),
        ("kilnfolio", rules.kilnfolio),
        ("limits", f"schedules/limits.yaml, revision {rules.limits_revision}"),
        ("schedule", rules.schedule),
        ("air pressure", f"{rules.pressure_pa:g} Pa"),
        ("relative humidity", rules.psychrometer),
        ("EMC", rules.emc_equation),
        ("controlling MC", dossier.control_rule),
    ):
        yield f"  {name + ':':<20}{value}"
    yield ""
    yield from wrapped(
        "kilnfolio is free software; its package and its source have the same version, "
        f"{rules.kilnfolio}. In the source, builder/kilnfolio/physics holds the formulas, "
        "builder/kilnfolio/review the checks, and review/versions.py what each version of the "
        "rules changed. Another version recomputes what it can. It lists what later rules compute "
        "differently, which it can neither confirm nor refute; everything else it confirms or "
        "reports as different. Files, seals, signatures and the ledger can be checked with any "
        "version."
    )


def checks_in_words(dossier: Dossier) -> Iterator[str]:
    """Yield what each check of a record examines, and why."""
    asked = dict.fromkeys(finding.check for finding in dossier.findings)
    known = [CHECKS[slug] for slug in asked if slug in CHECKS]
    if not known:
        return
    yield from heading("The checks, in words")
    yield from wrapped(
        "Each check of data/dossier.json, what it asks and why, with its source. Limits are in "
        "data/schedules/limits.yaml under the names given."
    )
    for check in known:
        yield f"  {check.slug}: {check.title}"
        limits = f" Limits: {', '.join(check.limits)}." if check.limits else ""
        yield from textwrap.wrap(
            f"{check.reason} [{check.source}]{limits}".replace("\N{NO-BREAK SPACE}", " "),
            WIDTH,
            initial_indent="    ",
            subsequent_indent="    ",
            break_long_words=False,
            break_on_hyphens=False,
        )
    yield ""
