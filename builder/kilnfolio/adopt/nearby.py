"""Reads one charge and the records it names, without the rest of the mill."""

from __future__ import annotations

import difflib
from pathlib import Path, PurePosixPath

from kilnfolio.records import reading
from kilnfolio.records.checking import charge_check, problems_with, propose, refuse_problems_of
from kilnfolio.records.folder import MillFolder, open_mill, refuse_other_folder
from kilnfolio.records.model import looks_like_a_number
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.records.problems import Place, Problem, RecordProblems


def charge_file(root: Path, charge: str) -> Path:
    """Return the record of a charge.

    Raises
    ------
    RecordProblems
        There is no such charge; the message suggests a similar number.
    """
    refuse_other_folder(root)
    files = {
        path.parent.name: path
        for path in sorted((root / "content/charges").glob("*/*/charge.yaml"))
    }
    if charge in files:
        return files[charge]
    near = difflib.get_close_matches(charge, files, n=1, cutoff=0.4)
    ways = [f"Did you mean '{near[0]}'?"] if near else []
    if looks_like_a_number(charge):
        ways.append(
            f"{'Otherwise begin' if near else 'Begin'} it with 'kilnfolio new charge {charge}'"
        )
    else:  # the text was meant for the next argument
        ways.append("Name the charge by its number first")
    raise RecordProblems(
        [
            Problem(
                Place("content/charges"),
                f"charge '{charge}'",
                "there is no charge of this number",
                " ".join(ways),
            )
        ]
    )


def open_beside(root: Path, number: str) -> MillFolder:
    """Return the mill of a charge, once the charge and everything it names can be read.

    Raises
    ------
    RecordProblems
        The charge, or something it names, cannot be read.
    """
    mill = open_mill(root)
    refuse_problems_of(mill, [(reading.charge, number), (reading.limits, "")])
    read = reading.located_charge(mill.graph, number)
    located = read.so_far if isinstance(read, OpenCharge) else read
    if located is not None:
        charge = located.record
        refuse_problems_of(
            mill,
            [
                (reading.LIBRARY["kiln"], charge.kiln),
                (reading.LIBRARY["schedule"], charge.schedule),
                *((reading.LIBRARY["species"], stock.species) for stock in charge.stock),
            ],
        )
    return mill


def charge_problems(mill: MillFolder, name: str, text: str) -> tuple[Problem, ...]:
    """Return the problems of a charge's text, read with the records it names.

    Records it names that cannot be read are not the charge's fault, and are not reported.

    Parameters
    ----------
    mill : MillFolder
        From `open_mill`.
    name : str
        The charge's file.
    text : str
        Its proposed text.

    Raises
    ------
    RecordProblems
        The mill's own record cannot be read.
    """
    propose(mill, name, text.encode())
    if problems := problems_with(mill, reading.mill, ""):
        raise RecordProblems(problems)
    number = PurePosixPath(name).parent.name
    return problems_with(mill, reading.charge, number) or problems_with(mill, charge_check, number)
