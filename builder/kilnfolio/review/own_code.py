"""A mill's own checks, figures and exporters: Python files in ``content/checks/``, run with the mill's permission only.

Their findings stand in the dossier, marked as the mill's own by the prefix of their slug, with the
digest of the code. They never replace a check of this package, concern the record alone, and
cannot change what is said of moisture content or heat treatment.
"""

from __future__ import annotations

import dataclasses
import hashlib
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from types import ModuleType
from typing import Any

from kilnfolio.graph.derived import inline
from kilnfolio.graph.graph import Graph
from kilnfolio.records.kinds import OWN_CODE
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.review.findings import (
    Case,
    Check,
    NoData,
    NotApplicable,
    OwnCode,
    OwnPart,
    Results,
    Row,
    is_own_slug,
    registering,
)
from kilnfolio.review.limits import NoLimit
from kilnfolio.runtime.files import read_file


def code_digest(digests: Mapping[str, str]) -> str:
    """Return one digest for several files: the SHA-256 of what ``sha256sum`` prints of them.

    Parameters
    ----------
    digests : mapping of str to str
        The SHA-256 of each file, by its path in the mill folder; "" is returned if there are none.
    """
    if not digests:
        return ""
    lines = "".join(f"{digests[path]}  {path}\n" for path in sorted(digests))
    return hashlib.sha256(lines.encode()).hexdigest()


def own_files(graph: Graph) -> dict[str, bytes]:
    """Return the files of a mill's own code by path."""
    return {name: read_file(graph.file(name)) for name in graph.names(OWN_CODE)}


def digest_of(files: Mapping[str, bytes]) -> str:
    """Return the digest of a mill's own code; "" if there is none."""
    return code_digest({path: hashlib.sha256(data).hexdigest() for path, data in files.items()})


@inline("own code")
def own_code(graph: Graph, _: str) -> OwnCode:
    """Return a mill's own checks.

    Raises
    ------
    RecordProblems
        They are not allowed to run on this computer, or they cannot be loaded.
    """
    files = own_files(graph)
    if not files:
        return OwnCode()
    digest = digest_of(files)
    if digest not in str(graph.option("code") or "").split():
        raise RecordProblems(
            [
                Problem(
                    Place(min(files)),
                    "the mill's own checks may not run on this computer",
                    "nobody has allowed this code here, or it was changed since",
                    "Read it; it can do whatever you can. Then: kilnfolio allow",
                )
            ]
        )
    return load(files)


def load(files: Mapping[str, bytes]) -> OwnCode:
    """Run the files of a mill's own code, and return the checks they register.

    Parameters
    ----------
    files : mapping of str to bytes
        The files by path. They are run, so permission must have been given.

    Raises
    ------
    RecordProblems
        A file ends with an error, or a check has no rows.
    """
    found: dict[str, Check] = {}
    figures: dict[str, OwnPart] = {}
    exporters: dict[str, OwnPart] = {}
    rows: dict[str, tuple[Row, ...]] = {}
    problems: list[Problem] = []
    for path in sorted(files):
        before = set(found)
        module = ModuleType(f"own_{path.rpartition('/')[2].removesuffix('.py')}")
        module.__file__ = path
        try:
            with registering(found), _parts_into(figures, exporters):
                exec(compile(files[path], path, "exec"), vars(module))
            rows |= {slug: tuple(given) for slug, given in getattr(module, "ROWS", {}).items()}
        except Exception as error:  # whatever the mill's code does is the mill's to mend
            problems.append(problem_in(files, error, "it cannot be loaded", path))
            continue
        problems += _lacking(path, set(found) - before, rows)
    if problems:
        raise RecordProblems(problems)
    guarded = {slug: _guarded(check, files) for slug, check in found.items()}
    return OwnCode(
        digest_of(files),
        guarded,
        rows,
        _guarded_parts(figures, files),
        _guarded_parts(exporters, files),
    )


_parts: ContextVar[tuple[dict[str, OwnPart], dict[str, OwnPart]]] = ContextVar("parts")


@contextmanager
def _parts_into(figures: dict[str, OwnPart], exporters: dict[str, OwnPart]) -> Iterator[None]:
    token = _parts.set((figures, exporters))
    try:
        yield
    finally:
        _parts.reset(token)


def figure(slug: str, *, title: str) -> Callable[[Callable[..., str]], Callable[..., str]]:
    """Register a drawing of the mill's own, for the mill's page of each complete charge.

    Parameters
    ----------
    slug : str
        Its name, as in ``own-carts``.
    title : str
        Its heading.

    Returns
    -------
    callable
        Registers a function of a charge's record and its dossier, which returns SVG; "" where there
        is nothing to draw.
    """
    return lambda run: _registered(0, slug, title, run)


def exporter(slug: str, *, title: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Register a format of the mill's own for ``kilnfolio export --own``.

    Parameters
    ----------
    slug : str
        Its name, as in ``own-ledger``.
    title : str
        What it writes, in a few words.

    Returns
    -------
    callable
        Registers a function of a `kilnfolio.api.MillView` and the path to write.
    """
    return lambda run: _registered(1, slug, title, run)


def _registered(kind: int, slug: str, title: str, run: Any) -> Any:
    registry = _parts.get()[kind]
    if not is_own_slug(slug) or slug in registry:
        raise ValueError(f"{slug!r}: the name is as 'own-carts', and each has its own")
    registry[slug] = OwnPart(title, run)
    return run


def _guarded_parts(parts: Mapping[str, OwnPart], files: Mapping[str, bytes]) -> dict[str, OwnPart]:
    """Return figures or exporters whose faults are reported as problems of the mill's code."""

    def guarded(slug: str, part: OwnPart) -> OwnPart:
        def run(*given: Any) -> Any:
            try:
                return part.run(*given)
            except RecordProblems:
                raise
            except Exception as error:  # whatever the mill's code does is the mill's to mend
                raise RecordProblems([problem_in(files, error, f"'{slug}'")]) from None

        return OwnPart(part.title, run)

    return {slug: guarded(slug, part) for slug, part in parts.items()}


def _guarded(check: Check, files: Mapping[str, bytes]) -> Check:
    """Return a check whose faults are reported as problems of the mill's code."""

    def run(case: Case) -> Results:
        try:
            yield from check.run(case)
        except (NoData, NotApplicable, NoLimit):
            raise
        except Exception as error:  # whatever the mill's code does is the mill's to mend
            what = f"check '{check.slug}' of charge {case.charge.id}"
            raise RecordProblems([problem_in(files, error, what)]) from None

    return dataclasses.replace(check, run=run)


def _lacking(
    path: str, slugs: Iterable[str], rows: Mapping[str, tuple[Row, ...]]
) -> Iterable[Problem]:
    for slug in sorted(slugs):
        given = rows.get(slug, ())
        outcomes = {row.outcome for row in given}
        if "pass" not in outcomes or outcomes == {"pass"}:
            yield Problem(
                Place(path),
                f"check '{slug}'",
                "ROWS does not show both sides of it: a charge that it passes, and one that it does "
                "not",
                f'Add ROWS = {{"{slug}": [Row("CHARGE", "pass"), Row("CHARGE", "question", '
                "{…})]}",
            )


def problem_in(files: Iterable[str], error: BaseException, what: str, path: str = "") -> Problem:
    """Return an error in a mill's own code as a problem at its line.

    Parameters
    ----------
    files : iterable of str
        The paths of the code.
    error : BaseException
        What it raised.
    what : str
        What could not be done.
    path : str, optional
        The file, if the error's traceback does not say.
    """
    known = set(files)
    line = error.lineno if isinstance(error, SyntaxError) else None
    for frame in traceback.extract_tb(error.__traceback__):
        if frame.filename in known:
            path, line = frame.filename, frame.lineno
    return Problem(
        Place(path, line or 1),
        what,
        f"{type(error).__name__}: {error}",
        "Mend the code, and allow it again: kilnfolio allow",
    )
