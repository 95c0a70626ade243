"""Open charges and their boards for shell completion: fast, and without errors."""

from __future__ import annotations

import re
from pathlib import Path

from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.runtime.files import read_file

#: An end that has been filled in.
_ENDED = re.compile(rb"^(ended|unloaded):[ \t]*(?![ \t]*(\xe2\x80\xa6|#|$))", re.MULTILINE)


def open_numbers(root: Path) -> list[str]:
    """Return the numbers of open charges."""
    return [
        path.parent.name
        for path in sorted(root.glob("content/charges/*/*/charge.yaml"))
        if len(_ENDED.findall(read_file(path))) < 2
    ]


def tags_of(root: Path, number: str) -> list[str]:
    """Return the tags of a charge's boards, weighed or read by meter; empty without a charge."""
    path = next((root / "content/charges").glob(f"*/{number}/charge.yaml"), None)
    try:
        value = read_yaml(path, path.name).value if path else None
    except RecordProblems:
        return []
    if not isinstance(value, dict):
        return []
    boards = [one.get("id") for one in value.get("boards") or [] if isinstance(one, dict)]
    metered = [
        tag
        for one in value.get("mc_rounds") or []
        if isinstance(one, dict) and isinstance(one.get("mc"), dict)
        for tag in one["mc"]
    ]
    return list(dict.fromkeys(str(tag) for tag in [*boards, *metered] if tag))


def round_words(root: Path, number: str | None) -> list[str]:
    """Return the words that may follow ``weigh``: open charges, and the boards of one.

    Parameters
    ----------
    root : Path
        The mill folder.
    number : str, optional
        The charge already typed; by default the only open one.
    """
    opened = open_numbers(root)
    meant = number if number in opened else opened[0] if len(opened) == 1 else None
    tags = [f"{tag}=" for tag in tags_of(root, meant)] if meant else []
    return tags if number in opened else [*opened, *tags]
