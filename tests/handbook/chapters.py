"""A handbook of one small chapter, for tests of a single form or directive."""

from __future__ import annotations

from pathlib import Path

from tests.minimal import minimal_mill

from kilnfolio.handbook.compiled import Target, compile_handbook
from kilnfolio.handbook.rendered import Body, Contents
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import MillFolder

#: Front matter of nine lines, so that the body below begins on line 10.
FRONT = """---
title: Small chapter
number: 1
slug: small
summary: One sentence.
revision: 1
sources: []
cautions: []
---
"""
NAME = "content/handbook/01-small.md"
DRAWING = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><title id="t">T</title>'
    '<desc>D</desc><path class="ink" d="M0 0L9 9"/></svg>'
)


def handbook(
    root: Path,
    body: str,
    *,
    front: str = FRONT,
    target: Target = "site",
    practice: str = "British",
    **files: str,
) -> Contents:
    """Compile a handbook of one chapter; `files` are other files beside it.

    The region puts metric units first, as do the published tables that the tests compare with.
    """
    others = {f"content/handbook/{name}": text for name, text in files.items()}
    root.mkdir(parents=True, exist_ok=True)
    minimal_mill(root, files={NAME: front + body, **others}, mill={"practice": practice})
    return compile_handbook(checked_mill(root), target)


def body_of(root: Path, body: str, **options: object) -> Body:
    """Return the small chapter rendered, which must have no problem."""
    contents = handbook(root, body, **options)  # type: ignore[arg-type]
    assert not contents.problems, "\n".join(map(str, contents.problems))
    return contents.bodies["small"]


def problems_of(root: Path, body: str, **options: object) -> list[str]:
    """Return the small chapter's problems as the person reads them."""
    return [str(problem) for problem in handbook(root, body, **options).problems]  # type: ignore[arg-type]


def folder_of(root: Path) -> MillFolder:
    """Return the folder written by `handbook`."""
    return checked_mill(root)
