"""Words of commands at the kiln for shell completion: fast, and without errors."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.runtime.files import read_file

#: An end that has been filled in.
_ENDED = re.compile(rb"^(ended|unloaded):[ \t]*(?![ \t]*(\xe2\x80\xa6|#|$))", re.MULTILINE)


#: Commands that also write into complete charges.
_OF_ANY_CHARGE = ("answer", "correct", "note", "sign")


def open_numbers(root: Path) -> list[str]:
    """Return the numbers of open charges."""
    return [
        path.parent.name
        for path in sorted(root.glob("content/charges/*/*/charge.yaml"))
        if len(_ENDED.findall(read_file(path))) < 2
    ]


def entry_words(root: Path, command: str | None, number: str | None) -> list[str]:
    """Return the words that may follow a command that writes into a charge's record.

    Parameters
    ----------
    root : Path
        The mill folder.
    command : str, optional
        The command already typed, such as ``weigh``.
    number : str, optional
        The charge already typed.

    Returns
    -------
    list of str
        Charges; with one typed, what the command takes of it: boards, the next step or ids of
        findings. ``weigh`` needs no charge where one alone is open.
    """
    numbers = all_numbers(root) if command in _OF_ANY_CHARGE else open_numbers(root)
    words = _WORDS.get(command or "")
    if words and number in numbers:
        return words(root, number)
    if command == "weigh" and len(numbers) == 1:
        return [*numbers, *_weighed(root, numbers[0])]
    return numbers


def all_numbers(root: Path) -> list[str]:
    """Return the numbers of all charges."""
    return [path.parent.name for path in sorted(root.glob("content/charges/*/*/charge.yaml"))]


def tags_of(root: Path, number: str) -> list[str]:
    """Return the tags of a charge's boards, weighed or read by meter; empty without a charge."""
    value = _record(root, number)
    boards = [one.get("id") for one in _listed(value, "boards")]
    metered = [
        tag
        for one in _listed(value, "mc_rounds")
        if isinstance(one.get("mc"), dict)
        for tag in one["mc"]
    ]
    return list(dict.fromkeys(str(tag) for tag in [*boards, *metered] if tag))


def _record(root: Path, number: str) -> dict[str, Any]:
    path = next((root / "content/charges").glob(f"*/{number}/charge.yaml"), None)
    try:
        value = read_yaml(path, path.name).value if path else None
    except RecordProblems:
        return {}
    return value if isinstance(value, dict) else {}


def _listed(value: dict[str, Any], key: str) -> list[dict[str, Any]]:
    return [one for one in value.get(key) or [] if isinstance(one, dict)]


def _weighed(root: Path, number: str) -> list[str]:
    return [f"{tag}=" for tag in tags_of(root, number)]


def _corrected(root: Path, number: str) -> list[str]:
    return [f"{tag}@" for tag in tags_of(root, number)]


def _next_step(root: Path, number: str) -> list[str]:
    made = [one.get("step") for one in _listed(_record(root, number), "step_changes")]
    return [str(max((step for step in made if isinstance(step, int)), default=0) + 1)]


def _findings(root: Path, number: str) -> list[str]:
    from kilnfolio.records.folder import open_mill
    from kilnfolio.review.reviews import dossiers, open_reviews

    try:
        folder = open_mill(root)
        reviewed = dossiers(folder) if number in folder.charges else open_reviews(folder)
        return [one.id for one in reviewed[number].findings if one.id]
    except (RecordProblems, KeyError):
        return []


#: What each command takes of a charge.
_WORDS = {
    "weigh": _weighed,
    "correct": _corrected,
    "step": _next_step,
    "answer": _findings,
}
