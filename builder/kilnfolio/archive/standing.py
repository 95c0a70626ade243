"""Derived values that say whether sealed charges and lots are still as they were sealed.

One whose own files were changed is still shown as sealed (`archive.sealed_mill`), and `check` and
`build` report it until it is amended or the change is undone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kilnfolio.archive.entries import SealEntry
from kilnfolio.archive.lots import LotState, lot_state
from kilnfolio.archive.places import KEPT, LEDGER, lot_record_path
from kilnfolio.archive.seal import SealState, state
from kilnfolio.archive.sealed_mill import (
    entries_of_charge,
    entries_of_lot,
    is_sealed,
    ledger,
    note_dossiers,
    note_sealed,
    part_of_ledger,
)
from kilnfolio.graph.derived import Group, derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records.checking import refuse
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.problems import Place, Problem
from kilnfolio.review.dossier import Finding

#: The slug of a finding about a broken seal.
AS_SEALED = "as-sealed"
#: Most differences that a message names.
_NAMED = 3

#: In words, what is not as sealed.
broken = Group("broken")


def _sealed_charges(graph: Graph) -> tuple[str, ...]:
    return ledger.entry(graph, "every charge", ())


def _sealed_lots(graph: Graph) -> tuple[str, ...]:
    return ledger.entry(graph, "every lot", ())


@derived("charge standing", keys=_sealed_charges, batch=20, fills=(broken,))
def charge_standing(graph: Graph, number: str) -> SealState:
    """Return whether a sealed charge is still as sealed."""
    entries = entries_of_charge(graph, number)
    note_sealed(graph, entries[-1:])
    _note_own(graph, entries)
    note_dossiers(graph, number, len(entries))
    stands = state(graph.folder, number, part_of_ledger(graph, "charge", number))
    _tell(graph, stands, number)
    return stands


@derived("lot standing", keys=_sealed_lots, fills=(broken,))
def lot_standing(graph: Graph, number: str) -> LotState:
    """Return whether a sealed lot is still as sealed."""
    entries = entries_of_lot(graph, number)
    graph.file(lot_record_path(number, len(entries)).as_posix())
    _note_own(graph, entries)
    stands = lot_state(
        graph.folder,
        number,
        part_of_ledger(graph, "lot", number),
        lambda charge: entries_of_charge(graph, charge),
    )
    _tell(graph, stands, f"lot {number}")
    return stands


@derived("sealed records")
def sealed_records(graph: Graph, _: str) -> None:
    """Refuse a mill that lacks the record of a sealed charge or lot.

    It could not be published as sealed: its page and its bag would be missing without a word.
    """
    problems = []
    for noun, entries_of in (("charge", entries_of_charge), ("lot", entries_of_lot)):
        present = graph.names(noun)
        for number in ledger.entry(graph, f"every {noun}", ()):
            if number in present:
                continue
            name_at = RECORD_KINDS[noun].name_at
            own = [f for f in entries_of(graph, number)[-1].files if name_at(f.path) == number]
            copy = f"its copy is {(KEPT / own[0].sha256).as_posix()}" if own else "from a backup"
            problems.append(
                Problem(
                    Place(own[0].path if own else LEDGER.as_posix()),
                    f"the record of {noun} {number}",
                    "it is sealed, and it is not there",
                    f"Bring it back{':' if own else ''} {copy}",
                )
            )
    refuse(problems)


def _note_own(graph: Graph, entries: Sequence[SealEntry]) -> None:
    for file in entries[-1].files if entries else ():
        if entries[-1].is_own(file.path):
            graph.file(file.path)


def _tell(graph: Graph, stands: SealState | LotState, name: str) -> None:
    if stands.differences:
        graph.join(broken, "", broken_words(stands, name), name)


def broken_findings(
    graph: Graph, charges: Sequence[str] | None = None, lots: Sequence[str] | None = None
) -> dict[str, Finding]:
    """Return findings on broken seals, by the name that `check` prints: ``C1``, ``lot L1``.

    Parameters
    ----------
    graph : Graph
        The mill.
    charges, lots : sequence of str, optional
        Those to check; by default all sealed ones.
    """
    return dict(
        _broken(
            graph,
            _sealed_charges(graph) if charges is None else charges,
            _sealed_lots(graph) if lots is None else lots,
        )
    )


def _broken(
    graph: Graph, charges: Sequence[str], lots: Sequence[str]
) -> Iterator[tuple[str, Finding]]:
    for number in charges:
        if is_sealed(graph, "charge", number) and charge_standing(graph, number).differences:
            yield number, broken_finding(charge_standing(graph, number), number)
    for number in lots:
        if is_sealed(graph, "lot", number) and lot_standing(graph, number).differences:
            yield f"lot {number}", broken_finding(lot_standing(graph, number), f"lot {number}")


def broken_finding(stands: SealState | LotState, name: str) -> Finding:
    """Return the finding on a charge or lot that is not as sealed."""
    last, differences = stands.entries[-1], stands.differences
    named = "; ".join(f"{d.where}: {d.what}" for d in differences[:_NAMED])
    more = len(differences) - _NAMED
    rest = f"; and {more} more, which 'kilnfolio audit' names" if more > 0 else ""
    number = name.removeprefix("lot ")
    return Finding(
        check=AS_SEALED,
        outcome="fail",
        message=(
            f"it is not as {last.by} sealed it on {last.at:%Y-%m-%d}, and is published as it was "
            f"sealed. {named}{rest}. Undo the change, or run: kilnfolio amend {number} --by NAME "
            "--reason '…'"
        ),
    )


def changed_words(stands: SealState | LotState) -> str:
    """Return what in a charge or lot is not as sealed, for its own page; empty if all is."""
    named = list(dict.fromkeys(f"{d.where}: {d.what}" for d in stands.differences))
    more = f"; and {len(named) - _NAMED} more" if len(named) > _NAMED else ""
    return f"{'; '.join(named[:_NAMED])}{more}." if named else ""


def broken_words(stands: SealState | LotState, name: str) -> str:
    """Return the same as a sentence that names the charge or lot."""
    return f"{name}: {broken_finding(stands, name).message}"
