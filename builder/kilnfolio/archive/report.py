"""The report of an audit, as text for a person and as plain values for a program."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from kilnfolio.archive.audited import AuditReport, EditionAudit, FolderAudit, SealAudit
from kilnfolio.archive.compare import Difference

#: The versions that are always shown; others are shown if they differ.
_VERSIONS = ("version", "kilnfolio", "limits_revision", "schedule")
#: Words for them, if the key alone is not clear.
_WORDS = {"version": "rules"}


def report_data(report: AuditReport) -> dict[str, Any]:
    """Return a report as plain JSON values, including its conclusions in words."""
    data = report.model_dump(mode="json")
    for folder, audited in zip(data["folders"], report.folders, strict=True):
        for seal, found in zip(folder["seals"], audited.seals, strict=True):
            seal["verdict"] = found.verdict
    return {"verdict": report.verdict, "outcome": report.outcome, "holds": report.holds, **data}


def report_text(report: AuditReport, words: Callable[[str], str] | None = None) -> str:
    """Return a report as plain text, with the verdict first.

    Parameters
    ----------
    report : AuditReport
        The results of the audit.
    words : callable, optional
        Turns hex digits into words that can be read out over the telephone.
    """
    lines = [f"{report.path}: {report.verdict}"]
    if report.edition:
        lines += ["", *_edition(report.edition)]
    for folder in report.folders:
        lines += ["", *_folder(folder, report)]
    for difference in report.differences:
        lines += _difference(difference, "  ")
    for one in report.open:
        lines += _difference(one, "  not confirmed: ")
    newest = max(
        (folder.head for folder in report.folders if folder.head),
        key=lambda head: head.size,
        default=None,
    )
    if newest:
        lines += ["", f"Head of the ledger: {newest.size} entries, {newest.root}"]
        if words:
            lines.append(f"in words: {words(newest.root[:32])}")
    lines += ["", f"Computed again by kilnfolio {report.kilnfolio}, without a network."]
    if report.unconfirmed:
        lines.append(
            "Figures that later rules compute differently can only be confirmed by the kilnfolio "
            "they were\nsealed with, named above; audit with that version too."
        )
    if not report.trusted_keys:
        lines.append(
            "Keys were checked against the list that came with these files. Get the mill's public "
            "key another way,\nby telephone or on paper, and pass it with --key or --trust."
        )
    return "\n".join(map(_plain, lines)) + "\n"


def _edition(edition: EditionAudit) -> Iterator[str]:
    """Yield the lines about the files of an edition."""
    yield f"Edition: {_many(edition.files, 'file')} against its manifest"
    if edition.public_key:
        yield f"  signed with {edition.public_key}"
    yield (
        f"  {edition.again} are in bags or were made again; the others rest on the "
        + ("signed manifest" if edition.public_key else "manifest")
        + " alone"
    )
    for difference in edition.differences:
        yield from _difference(difference, "  ")
    for one in edition.open:
        yield from _difference(one, "  not confirmed: ")


def _folder(folder: FolderAudit, report: AuditReport) -> Iterator[str]:
    files = f"{folder.files} files against their manifests, " if folder.kind == "bag" else ""
    name = "" if folder.path == report.path else f" {folder.path}"
    yield f"{folder.kind.capitalize()}{name}: {files}{_many(folder.entries, 'ledger entry')}"
    for difference in folder.differences:
        yield from _difference(difference, "  ")
    for seal in folder.seals:
        yield from _seal(seal)
    if folder.lots:
        same = sum(lot.same for lot in folder.lots)
        yield f"  {_many(len(folder.lots), 'lot record')} made again: {same} the same"
    for one in folder.open:
        yield from _difference(one, "  not confirmed: ")
    if folder.unsealed:
        yield "  not sealed: " + ", ".join(folder.unsealed)


def _seal(seal: SealAudit) -> Iterator[str]:
    word = "sealed" if seal.kind == "seal" else "amended"
    yield f"  {seal.charge}, entry {seal.entry}: {word} {seal.sealed_at} by {seal.by}"
    if seal.reason:
        yield f"    reason: {seal.reason}"
    yield f"    dossier {seal.dossier}"
    yield f"    key     {seal.public_key}"
    yield "    by      " + _rules(seal)
    yield f"    {seal.numbers} numbers computed again from {seal.files} files: {seal.verdict}"
    for difference in seal.differences:
        yield from _difference(difference, "    ")
    for change in seal.rules_changes:
        yield f"    {change}"
    for difference in seal.moved:
        yield from _difference(difference, "      given differently: ")
    for difference in seal.new:
        yield f"      new: {difference.where}"
    for note in seal.notes:
        yield f"    note: {note.where}: {note.what}"


def _rules(seal: SealAudit) -> str:
    """Return the sealed versions, and those used now if they differ."""
    parts = []
    for name, value in sorted(seal.rules_sealed.items(), key=lambda item: item[0] != "version"):
        now = seal.rules_now.get(name, value)
        if name in _VERSIONS or now != value:
            word = _WORDS.get(name, name.replace("_", " "))
            parts.append(f"{word} {value}" + (f" (now {now})" if now != value else ""))
    return ", ".join(parts) or "unknown"


def _difference(difference: Difference, indent: str) -> Iterator[str]:
    yield f"{indent}{difference.kind}: {difference.where}: {difference.what}"
    indent = " " * (len(indent) - len(indent.lstrip()))
    if difference.kind in ("value-added", "value-missing"):
        yield f"{indent}  {(difference.sealed or difference.found)[:200]}"


def _many(count: int, noun: str) -> str:
    plural = noun.removesuffix("y") + "ies" if noun.endswith("y") else noun + "s"
    return f"{count} {noun if count == 1 else plural}"


def _plain(line: str) -> str:
    """Return a line without control characters, since some of it comes from what is audited."""
    line = line.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
    return "".join(c if c.isprintable() or c == "\n" else f"\\u{ord(c):04x}" for c in line)
