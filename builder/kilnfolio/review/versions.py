"""The version of the rules: which figures a later kilnfolio may compute differently, and why.

A dossier is made by rules: formulas, checks, wording, rounding, and the form of the dossier. Every
dossier states their version (``rules.version``), which is sealed with it. Two things follow.

*The same version gives the same bytes.* From the same files, the same version gives the same
dossier on any machine; only the version of the package may differ. Any other difference is a broken
seal to `check` and `build`, and a difference to `audit`.

*Another version changes what it declares, and nothing else.* A later version lists here the places
of a dossier that it computes differently or adds. A sealed charge whose files are unchanged is then
still as it was sealed, and the seal still signs its sealed dossier. `audit` lists what changed as
neither confirmed nor refuted, and says which kilnfolio can confirm it. A figure that differs
anywhere else is a difference, whatever version the dossier claims, so claiming an old version
cannot hide a forged figure.

A commit that changes a figure, a finding, a word or a field of the dossier must also add a
`RulesChange`. ``tests/trust/test_demo.py`` audits bags sealed under each version and fails until
that is done. A version that has not been released may still be changed: the demonstration and its
witnesses are then sealed again, as the contributor guide says.
"""

from __future__ import annotations

from collections.abc import Sequence
from fnmatch import fnmatchcase

from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class RulesChange:
    """One version of the rules.

    Attributes
    ----------
    version : int
        Its number, one more than the previous version.
    what : str
        What is computed, checked or worded differently, and why, as a sentence for an auditor.
    places : tuple of str
        Places of a dossier that may differ or be new, as in ``/log/air/*/emc_pct`` or
        ``/findings/flat-trace*``. ``*`` stands for any name; everything below a place is included.
    record : frozenset of str
        Keys of a lot's record whose values follow from those places, as ``mean``.
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


#: Every version, oldest first. The last has not been released, so changes until then belong to it.
CHANGES: tuple[RulesChange, ...] = (
    RulesChange(1, "The first rules."),
    RulesChange(
        2,
        "Findings have new outcomes, ids and times, and a pass says what was looked at. Limits "
        "fit the thickness, the target and the uncertainty of a board; following the schedule is "
        "judged step by step, both ways; checks were added, from loss by running hour to the shape "
        "of the survey. Pins in the timber and EMC sensors are corrected by the kiln's record and "
        "compared with boards, survey and bulbs; where no board is weighed, the MC comes from the "
        "pins.",
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
    """Return the changes after a version, oldest first; empty for an unknown version.

    Parameters
    ----------
    version : object
        The version of the rules in a dossier.
    """
    known = [change.version for change in CHANGES]
    if isinstance(version, bool) or version not in known:
        return None
    return CHANGES[known.index(version) + 1 :]
