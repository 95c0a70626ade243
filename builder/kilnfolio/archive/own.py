"""A mill's own checks in an audit: left out and named, or run if the auditor agrees.

An auditor did not write the code that a bag holds, so nothing of it runs unasked. Everything else
is recomputed as always: a mill's own check can neither replace another nor change a figure.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import Entry
from kilnfolio.records.kinds import is_own_code
from kilnfolio.review.findings import is_own
from kilnfolio.review.own_code import code_digest


def apart(dossier: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Return a sealed dossier without what a mill's own checks put there, and their slugs.

    Parameters
    ----------
    dossier : dict
        Plain JSON values of a dossier.
    """
    findings, rules = dossier.get("findings"), dossier.get("rules")
    if not isinstance(findings, list) or not isinstance(rules, dict):
        return dossier, []
    own = [one for one in findings if isinstance(one, dict) and is_own(str(one.get("check", "")))]
    rest = {key: value for key, value in rules.items() if key != "own_code"}
    return (
        {**dossier, "rules": rest, "findings": [one for one in findings if one not in own]},
        sorted({one["check"] for one in own}),
    )


def own_code_differences(dossier: dict[str, Any], entry: Entry, where: str) -> Iterator[Difference]:
    """Yield a difference if a dossier states another digest than the code sealed with it has.

    Parameters
    ----------
    dossier : dict
        Plain JSON values of a sealed dossier.
    entry : Entry
        Its seal.
    where : str
        The dossier's name.
    """
    rules = dossier.get("rules")
    stated = rules.get("own_code", "") if isinstance(rules, dict) else ""
    here = code_digest({file.path: file.sha256 for file in entry.files if is_own_code(file.path)})
    if stated != here:
        yield Difference(
            kind="own-code-differs",
            where=f"{where}/rules/own_code",
            sealed=str(stated),
            found=here,
            what="the digest of the mill's own checks is not that of the code sealed with it",
        )


def not_run(dossier: dict[str, Any], where: str) -> Iterator[Difference]:
    """Yield what an audit says of the findings that it did not recompute.

    Parameters
    ----------
    dossier : dict
        Plain JSON values of a sealed dossier.
    where : str
        The dossier's name.
    """
    _, slugs = apart(dossier)
    if slugs:
        yield Difference(
            kind="own-checks-not-run",
            where=where,
            what=f"the mill's own checks were not run, so what they say is not confirmed: "
            f"{', '.join(slugs)}; read content/checks, then give --run-own-checks",
        )
