"""Records that somebody began and did not end: nothing in them is wrong, and something is to come.

The mark of what is to be filled in says so. As long as one stands in a record of these kinds, what
is absent is no problem, and the records around it are read as ever; a value that cannot stand is
one still. A charge is begun until its end is written: see `open_charge`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath
from zoneinfo import ZoneInfo

from kilnfolio.records.formats import current
from kilnfolio.records.model import Located, R
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.validation import holds_marks, is_mark, kind_of, validate
from kilnfolio.records.yaml_source import Document


@dataclass(frozen=True)
class Draft:
    """A record that is still to be filled in.

    Attributes
    ----------
    kind : str
        The word for its kind.
    id : str
        Its id.
    document : Document
        What is written.
    to_fill : tuple of Problem
        What is still to be filled in, each with its place and meaning.
    """

    kind: str
    id: str
    document: Document
    to_fill: tuple[Problem, ...]

    @property
    def file(self) -> str:
        """The file's path relative to the mill folder."""
        return self.document.file

    @property
    def name(self) -> str:
        """What it is called among records of other kinds, as in ``kiln k2``."""
        return f"{self.kind} {self.id}"

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys still to be filled in, once each."""
        return tuple(dict.fromkeys(key_of(problem) for problem in self.to_fill))


def key_of(problem: Problem) -> str:
    """Return the key that a problem of something absent is about."""
    words = problem.what.split("'")
    return words[1] if len(words) > 1 else words[0].split(" is ")[0]


def read_draft(document: Document, model: type[R], zone: ZoneInfo | None) -> Located[R] | Draft:
    """Return a record, or what there is of it while a mark stands in it.

    Raises
    ------
    RecordProblems
        Something that is written cannot stand; where no mark stands, also what is absent.
    """
    document = current(document, kind_of(model))
    try:
        return validate(document, model, zone=zone)
    except RecordProblems as error:
        if not holds_marks(document.value):
            raise
        return Draft(
            kind_of(model),
            draft_id(document, PurePosixPath(document.file).stem),
            document,
            only_absent(error),
        )


def only_absent(error: RecordProblems) -> tuple[Problem, ...]:
    """Return the problems of what is absent, where there are no others.

    Raises
    ------
    RecordProblems
        Those of what is written.
    """
    if wrong := [problem for problem in error.problems if not problem.absent]:
        raise RecordProblems(wrong) from None
    return error.problems


def draft_id(document: Document, home: str) -> str:
    """Return the id of a record that is not complete; by its home where it is not written."""
    written = document.value.get("id")
    return home if written is None or is_mark(written) else str(written)
