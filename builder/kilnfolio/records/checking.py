"""Checks of records against each other as derived values, and a mill with all records checked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from kilnfolio.graph.derived import Bound, Derived, Step, derived
from kilnfolio.graph.graph import Graph
from kilnfolio.graph.memory import MemoryGraph
from kilnfolio.records import reading
from kilnfolio.records.cross_checks import (
    duplicate_problem,
    misplaced_problem,
    name_problems,
    problems_of,
    superseded_problems,
)
from kilnfolio.records.earlier import earlier
from kilnfolio.records.folder import MillFolder, mill_of, open_mill
from kilnfolio.records.kinds import MISPLACED, RECORD_KINDS, SUPERSEDED, misplaced
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.weather import weather


def refuse(problems: Iterable[Problem]) -> None:
    """Raise `RecordProblems` if there are problems."""
    if found := list(problems):
        raise RecordProblems(found)


@derived("misplaced files", code="review")
def misplaced_files(graph: Graph, _: str) -> None:
    """Refuse files that would be ignored."""
    refuse(misplaced_problem(name, why) for name, why in misplaced(graph.names(MISPLACED)))


def _names_taken(graph: Graph) -> list[str]:
    kinds = (kind for kind in RECORD_KINDS.values() if not kind.single)
    return [
        f"{kind.name}/{name}"
        for kind in kinds
        for name, paths in graph.names(kind.name).items()
        if len(paths) > 1
    ]


@derived("names taken", keys=_names_taken, code="review")
def names_taken(graph: Graph, key: str) -> None:
    """Refuse a name that two files share."""
    kind, _, name = key.partition("/")
    first, *others = graph.paths(kind, name)
    problems: list[Problem] = []
    for path in others:
        try:
            problems.append(duplicate_problem(reading.read_record(graph, path), first))
        except RecordProblems as error:
            problems += error.problems
    refuse(problems)


def _library_keys(graph: Graph) -> list[str]:
    return [
        "limits/",
        *(
            f"{kind}/{name}"
            for kind in reading.LIBRARY
            if kind != "order"  # orders name charges, which are read later
            for name in graph.names(kind)
        ),
    ]


@derived("library check", keys=_library_keys, code="review", batch=1000)
def library_check(graph: Graph, key: str) -> None:
    """Refuse a library record that is inconsistent with the others."""
    kind, _, name = key.partition("/")
    read = reading.LIBRARY[kind](graph, name) if name else reading.limits(graph)
    refuse([*(name_problems(read) if name else ()), *problems_of(mill_of(graph), read)])


@derived("superseded check", keys=lambda graph: graph.names(SUPERSEDED.name), code="review")
def superseded_check(graph: Graph, name: str) -> None:
    """Refuse an earlier revision that is misplaced, not earlier, or asks for impossible air."""
    found, mill = reading.superseded(graph, name), mill_of(graph)
    current: Located[Any] | None = mill.schedules.get(name)
    refuse(problem for one in found for problem in superseded_problems(mill, one, current))


@derived("charge check", keys=lambda graph: graph.names("charge"), code="review", batch=400)
def charge_check(graph: Graph, number: str) -> None:
    """Refuse a charge that is inconsistent with the other records."""
    reading.charge(graph, number)
    if reading.charge_as_sealed(graph, number) is not None:
        return  # the records it depends on were sealed with it
    read = reading.located_charge(graph, number)
    refuse([*name_problems(read), *problems_of(mill_of(graph), read)])


@derived(
    "lot check",
    keys=lambda graph: graph.names("lot"),
    code="review",
    batch=1000,
    label="lots reviewed",
)
def lot_check(graph: Graph, number: str) -> None:
    """Refuse a lot that is inconsistent with the other records."""
    read = reading.lot(graph, number)
    if reading.lot_is_sealed(graph, number):
        return
    located = read.located if isinstance(read, reading.WaitingLot) else read
    refuse([*name_problems(located), *problems_of(mill_of(graph), located)])


@derived("order check", keys=lambda graph: graph.names("order"), code="review")
def order_check(graph: Graph, number: str) -> None:
    """Refuse an order that is inconsistent with the other records."""
    read = reading.LIBRARY["order"](graph, number)
    refuse([*name_problems(read), *problems_of(mill_of(graph), read)])


@derived("prices check", code="review")
def prices_check(graph: Graph, _: str) -> None:
    """Refuse prices in another currency than that of the mill's tariff."""
    located, tariff = reading.prices(graph), reading.mill(graph).record.energy_price
    ours = located.record.currency if located else ""
    if located and tariff and ours and ours != tariff[1]:
        refuse(
            [
                Problem(
                    located.place(),
                    f"prices in {ours}",
                    f"energy_tariff in content/mill.yaml is in {tariff[1]}, and a cost adds them up",
                    "Write all of them in one currency",
                )
            ]
        )


#: Everything read and checked before the charges, then the charges, the lots, and the checks of
#: lots.
LIBRARY_STEPS: tuple[Step, ...] = (
    (misplaced_files,),
    (reading.mill,),
    (reading.brand,),
    (reading.prices, prices_check),
    (reading.sources,),
    (reading.limits,),
    (names_taken,),
    *((one,) for one in reading.LIBRARY.values()),
    (reading.superseded,),
    (library_check,),
    (superseded_check,),
    (weather,),
    (earlier,),
)
CHARGE_STEP: Step = (reading.charge, charge_check)
LOT_STEP: Step = (reading.lot,)
LOT_CHECK_STEP: Step = (lot_check,)
ORDER_CHECK_STEP: Step = (order_check,)
RECORDS: tuple[Step, ...] = (
    *LIBRARY_STEPS,
    CHARGE_STEP,
    LOT_STEP,
    LOT_CHECK_STEP,
    ORDER_CHECK_STEP,
)


def checked_mill(root: Path, bound: Bound | None = None) -> MillFolder:
    """Return the records of a mill folder, all read and checked against each other.

    Parameters
    ----------
    root, bound
        See `open_mill`.

    Raises
    ------
    RecordProblems
        Every problem in every record.
    """
    mill = open_mill(root, bound=bound)
    refuse_problems(mill, RECORDS)
    return mill


def refuse_problems(mill: MillFolder, plan: tuple[Step, ...]) -> None:
    """Compute everything in a plan.

    Raises
    ------
    RecordProblems
        Every problem found.
    """
    graph = mill.graph
    if not isinstance(graph, MemoryGraph):
        raise TypeError("a graph on disk is brought up to date by a build")
    refuse(graph.failures(plan))


def problems_with(mill: MillFolder, value: Derived[Any], key: str) -> tuple[Problem, ...]:
    """Return the problems of one value; none if it was computed or only depends on a failed one."""
    graph = mill.graph
    if not isinstance(graph, MemoryGraph):
        raise TypeError("a graph on disk is brought up to date by a build")
    return graph.reasons(value, key)


def propose(mill: MillFolder, name: str, raw: bytes) -> None:
    """Treat a file of the mill as if it held these bytes."""
    graph = mill.graph
    if not isinstance(graph, MemoryGraph):
        raise TypeError("a graph on disk reads what lies on the disk")
    graph.propose(name, raw)


def refuse_problems_of(mill: MillFolder, values: Sequence[tuple[Derived[Any], str]]) -> None:
    """Compute some values and everything they depend on.

    Raises
    ------
    RecordProblems
        Every problem found, in any record.
    """
    graph = mill.graph
    if not isinstance(graph, MemoryGraph):
        raise TypeError("a graph on disk is brought up to date by a build")
    refuse(graph.failures_below(values))
