"""The bags of sealed charges, for the auditor edition."""

from __future__ import annotations

from kilnfolio.archive.bag import ABOUT, BAGS, about_bags, bag_files
from kilnfolio.archive.edition import AS_BUILT, BUILT_WITH
from kilnfolio.archive.heads import LEAVES, OTHERS
from kilnfolio.archive.proofs import lot_records
from kilnfolio.archive.sealed_mill import (
    is_sealed,
    ledger,
    ledger_of_bag,
    note_dossiers,
    note_sealed,
)
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.pipeline.pages import charge_pdf_name
from kilnfolio.pipeline.pdfs import pdf
from kilnfolio.records import reading
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.runtime.files import read_file
from kilnfolio.site.context import printed
from kilnfolio.site.house import house_files
from kilnfolio.site.pages.audit import bag_folder, record_path


def _sealed(graph: Graph) -> list[str]:
    return [number for number in reading.charges(graph) if is_sealed(graph, "charge", number)]


@derived(
    "bag", keys=_sealed, batch=2, label="bags", edition="auditor", keep_none=False, at_home=True
)
def bag(graph: Graph, number: str) -> None:
    """Write the bag of a sealed charge."""
    carried = ledger_of_bag(graph, number)
    note_sealed(graph, [*carried.entries, *carried.lots])
    note_dossiers(graph, number, len(carried.entries))
    for record, _ in lot_records(carried.lots):
        graph.file(record.as_posix())
    extra = {}
    if printed(graph, charge_pdf_name(number)):
        pdf(graph, charge_pdf_name(number))
        extra["record.pdf"] = read_file(graph.made_file(f"auditor/{record_path(number)}"))
    files = bag_files(graph.folder, number, notice=SAFETY, extra=extra, part=carried)
    for path, data in files.items():
        graph.write(f"auditor/{bag_folder(number)}{path}", data)


@derived("about bags", edition="auditor", keep_none=False)
def about(graph: Graph, _: str) -> None:
    """Write the README of the bags."""
    graph.write(f"auditor/{BAGS}/{ABOUT}", about_bags(sorted(_sealed(graph)), SAFETY))
    graph.write(f"auditor/{BAGS}/{LEAVES}", ledger.entry(graph, "leaves", ""))
    graph.write(f"auditor/{BAGS}/{OTHERS}", ledger.entry(graph, "others", ""))
    for path in (*BUILT_WITH, *house_files(graph)):
        graph.write(f"auditor/{AS_BUILT}/{path}", read_file(graph.file(path)))
