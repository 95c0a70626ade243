"""Copies a published schedule into a draft of the mill's own, to be changed and approved."""

from __future__ import annotations

import difflib
from pathlib import Path

from kilnfolio.adopt.record_text import RecordText
from kilnfolio.adopt.starter import schema_comment
from kilnfolio.adopt.writing import write_new
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.runtime.files import read_text

#: Parts of a schedule that belong to the mill that wrote it and are not copied.
_NOT_COPIED = ("approved", "changes", "invented")


def copy_schedule(root: Path, identity: str, source: str, title: str | None) -> str:
    """Copy a schedule under a new id as a draft of revision 1; return the new file.

    Steps, air, timber, publication and comments are kept.

    Raises
    ------
    RecordProblems
        There is no such schedule, it cannot be read, or the id is taken; nothing is written.
    """
    files = {path.stem: path for path in sorted((root / "schedules").glob("*wood/*.yaml"))}
    if source not in files:
        near = difflib.get_close_matches(source, files, 1, 0.4)
        raise RecordProblems(
            [
                Problem(
                    Place("schedules"),
                    f"schedule '{source}'",
                    "there is no schedule of this id",
                    f"Did you mean '{near[0]}'?" if near else "See schedules/hardwood and softwood",
                )
            ]
        )
    path = files[source]
    text = read_text(path, "utf-8-sig")
    lines = [line for line in text.splitlines() if not line.startswith("# yaml-language-server")]
    record = RecordText("\n".join(lines) + "\n", path.name, list(Schedule.model_fields))
    revision = record.at(("revision",)) or 1
    for key in _NOT_COPIED:
        record.remove(key)
    record.put(("id",), identity)
    record.put(("title",), title or f"{record.at(('title',))}, our own")
    record.put(("revision",), 1)
    name = f"schedules/{path.parent.name}/{identity}.yaml"
    new = (
        f"{schema_comment('schedule', 2)}# Copied from {source}, revision {revision}. Change "
        f"what you need, then write who approved it.\n{record.text}"
    )
    validate(parse_yaml(new.encode(), name), Schedule)
    write_new(root, {name: new})
    return name
