"""The version of the rules: which figures a later kilnfolio may give differently, and why.

A dossier is made by rules: formulas, checks, words, rounding, the form of the dossier itself. Their
version stands in every dossier (``rules.version``) and is sealed with it. Two things follow.

*The same version, the same bytes.* From the same files the same version gives the same dossier
wherever it is computed; only the version of the package may differ. Anything else that differs is a
difference: a broken seal to `check` and `build`, a difference to `audit`.

*Another version moves what it says it moves, and nothing else.* A later version lists here the
places of a dossier it gives differently or adds. A sealed charge whose files are unchanged is then
still as it was sealed; its sealed dossier stays what the seal signs. `audit` lists what moved, as
neither confirmed nor refuted, and says which kilnfolio can confirm it. A figure that differs at any
other place differs, whatever version its dossier claims, so an old version is no cover for a
forged figure.

Whoever changes a figure, a finding, a word or a field of the dossier adds a `RulesChange` in the
same commit. ``tests/trust/test_demo.py`` audits bags sealed under each version and fails until that
is done. A version that no release has carried may still be changed: the demonstration and its
witnesses are then sealed again, as the contributor guide says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase


@dataclass(frozen=True)
class RulesChange:
    """One version of the rules.

    Attributes
    ----------
    version : int
        Its number, one more than the version before.
    what : str
        What is computed, checked or worded differently, and why: a sentence for an auditor.
    places : tuple of str
        Places of a dossier that may differ or be new, as in ``/log/air/*/emc_pct`` or
        ``/findings/flat-trace*``. ``*`` stands for any name; what lies below a place is covered.
    record : frozenset of str
        Keys of a lot's record whose facts follow from those places, as ``mean``.
    """

    version: int
    what: str
    places: tuple[str, ...] = ()
    record: frozenset[str] = frozenset()

    def covers(self, place: str) -> bool:
        """Return whether a place of a dossier, as in ``/boards/S1/oven_dry_g``, may differ."""
        steps = place.split("/")
        return any(
            len(wanted) <= len(steps) and all(map(fnmatchcase, steps, wanted))
            for wanted in (pattern.split("/") for pattern in self.places)
        )


#: Every version, the oldest first. No release has carried the last yet, so that whatever is
#: changed until then belongs to it.
CHANGES: tuple[RulesChange, ...] = (
    RulesChange(1, "The first rules."),
    RulesChange(
        2,
        "Findings have new outcomes, ids and times, and a pass says what was looked at. Limits "
        "fit the thickness, the target and the uncertainty of a board; following the schedule is "
        "judged step by step, both ways; checks were added, from loss by running hour to the shape "
        "of the survey. Pins in the timber and EMC sensors are corrected by the kiln's record, and "
        "pins stand for boards where none is weighed.",
        places=(
            "/findings",
            "/adherence",
            "/steps/*/verdict",
            "/steps/*/waited_hours",
            "/boards/*/safe_daily_loss_pct",
            "/conditioning/rule_emc_pct",
            "/set_points",
            "/air/load_drop_wet_k",
            "/air/load_drop_later_k",
            "/controlling",
        ),
    ),
)


def rules_version() -> int:
    """Return the version of the rules of this kilnfolio."""
    return CHANGES[-1].version


def changes_since(version: object) -> Sequence[RulesChange] | None:
    """Return what changed after a version, oldest first; none for a version not known here.

    Parameters
    ----------
    version : object
        What a dossier holds as the version of its rules.
    """
    known = [change.version for change in CHANGES]
    if isinstance(version, bool) or version not in known:
        return None
    return CHANGES[known.index(version) + 1 :]
