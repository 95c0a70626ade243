"""Records that are begun but not complete.

They contain marks of values to be filled in. While such a record has a mark, missing keys are not a
problem, and other records are read as usual; an invalid value still is a problem. A charge is open
until its end is written: see `open_charge`.
"""

from __future__ import annotations

from pathlib import PurePosixPath
from zoneinfo import ZoneInfo

from kilnfolio.records.formats import current
from kilnfolio.records.model import Located, R
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.validation import holds_marks, is_mark, kind_of, validate
from kilnfolio.records.yaml_source import Document
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Draft:
    """A record that is still to be filled in.

    Attributes
    ----------
    kind : str
        The name of its kind.
    id : str
        Its id.
    document : Document
        The document as written.
    to_fill : tuple of Problem
        The values still to be filled in, each with its place and meaning.
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
        """Its name with its kind, as in ``kiln k2``."""
        return f"{self.kind} {self.id}"

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys still to be filled in, without duplicates."""
        return tuple(dict.fromkeys(key_of(problem) for problem in self.to_fill))


def key_of(problem: Problem) -> str:
    """Return the key that a problem of a missing value is about."""
    words = problem.what.split("'")
    return words[1] if len(words) > 1 else words[0].split(" is ")[0]


def read_draft(document: Document, model: type[R], zone: ZoneInfo | None) -> Located[R] | Draft:
    """Return a record, or a draft while it contains marks.

    Raises
    ------
    RecordProblems
        A value is not valid or, in a record without marks, missing.
    """
    document = current(document, kind_of(model))
    try:
        return validate(document, model, zone=zone)
    except RecordProblems as error:
        if not isinstance(document.value, dict) or not holds_marks(document.value):
            raise
        return Draft(
            kind_of(model),
            draft_id(document, PurePosixPath(document.file).stem),
            document,
            only_absent(error),
        )


def only_absent(error: RecordProblems) -> tuple[Problem, ...]:
    """Return the problems, if all are about missing values.

    Raises
    ------
    RecordProblems
        The other problems, if there are any.
    """
    if wrong := [problem for problem in error.problems if not problem.absent]:
        raise RecordProblems(wrong) from None
    return error.problems


def draft_id(document: Document, home: str) -> str:
    """Return the id of an incomplete record, from its path if it is not written."""
    written = document.value.get("id")
    return home if written is None or is_mark(written) else str(written)
