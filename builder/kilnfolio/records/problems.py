"""Problems of records: where, what, why, and what to write instead."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from kilnfolio.graph.derived import NotMadeError
from kilnfolio.runtime.values import dataclass


def visible(text: str) -> str:
    r"""Return text with its control characters written out, as in \u001b.

    A problem quotes what was refused. A terminal would obey such characters, and XML may not contain
    them.
    """
    if text.isprintable():
        return text
    unseen = {one for one in text if unicodedata.category(one) in _UNSEEN} - {"\n", "\t"}
    return "".join(f"\\u{ord(one):04x}" if one in unseen else one for one in text)


#: Categories of Unicode: controls, marks of direction, surrogates, ends of lines and of paragraphs.
_UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A position in a file: its path in the mill folder, with line and column counted from 1."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{visible(self.file)}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing that a person must mend.

    Attributes
    ----------
    place : Place
        Where it is.
    what : str
        What was refused, quoting the value as entered.
    why : str
        The rule it breaks.
    instead : str
        What to write instead; empty if only the person can know.
    absent : bool
        Whether something is merely still to be filled in, and nothing is wrong.
    """

    place: Place
    what: str
    why: str
    instead: str = ""
    absent: bool = False

    def __post_init__(self) -> None:
        for name in ("what", "why", "instead"):
            object.__setattr__(self, name, visible(getattr(self, name)))

    def __str__(self) -> str:
        sentence = f"{self.place}: {self.what}: {self.why}."
        if not self.instead:
            return sentence
        return f"{sentence} {self.instead}" + ("" if self.instead[-1] in "?!." else ".")


def cannot_read(file: str, error: OSError) -> Problem:
    """Return the problem of a file that the system cannot read."""
    instead = ""
    if isinstance(error, FileNotFoundError):
        instead = "Check the name, its ending and its folder"
        if file.startswith(("content/", "schedules/")):
            instead += "; a file that was deleted comes back from your backup"
        if file.startswith("schedules/"):
            instead += ", and the library's from a folder that 'kilnfolio new mill' makes"
    elif isinstance(error, PermissionError):
        instead = (
            "If it is open in another program, close it there; otherwise ask whoever keeps "
            "this computer to let you read it"
        )
    elif isinstance(error, IsADirectoryError):
        instead = "Name a file in it"
    return Problem(
        Place(file), "the file cannot be read", (error.strerror or str(error)).lower(), instead
    )


class RecordProblems(NotMadeError):  # noqa: N818  several problems, not one error
    """Every problem found in one run, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]):
        self.problems = self.reasons = tuple(sorted(set(problems)))
        super().__init__("\n".join(map(str, self.problems)))
