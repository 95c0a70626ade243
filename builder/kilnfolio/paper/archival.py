"""Finishing of every PDF: PDF/A-3b for archives, and PDF/UA-1 for accessibility.

WeasyPrint declares one conformance; a record needs two. The second is added to the document's
metadata (ISO 14289-1, clause 5) with the description that ISO 19005-3 requires (clause 6.6.2.3).
Each table header gets its scope, column or row (ISO 14289-1, clause 7.5). Lists keep only items as
children (ISO 32000-1, 14.8.4.3.3). The metadata stay uncompressed, for tools that look for them
without parsing the PDF.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pydyf  # type: ignore[import-untyped]

#: The conformance that WeasyPrint declares.
VARIANT = "pdf/a-3b"

_UA = b"""<rdf:Description xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" \
rdf:about="" pdfuaid:part="1" />\
<rdf:Description xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/" \
xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" \
xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#" rdf:about="">\
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">\
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>\
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>\
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>\
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">\
<pdfaProperty:name>part</pdfaProperty:name>\
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>\
<pdfaProperty:category>internal</pdfaProperty:category>\
<pdfaProperty:description>Part of ISO 14289 the document conforms to</pdfaProperty:description>\
</rdf:li></rdf:Seq></pdfaSchema:property>\
</rdf:li></rdf:Bag></pdfaExtension:schemas></rdf:Description>"""
_END = b"</rdf:RDF>"


def finished(finisher: Callable[..., None] | None = None) -> Callable[..., None]:
    """Return a finisher for PDFs; another finisher, if given, runs first."""

    def finish(document: Any, pdf: pydyf.PDF) -> None:
        if finisher is not None:
            finisher(document, pdf)
        _say_accessible(pdf)
        _scope_headers(pdf)
        _ungroup_lists(pdf)
        pdf.objects[:] = map(_Written, pdf.objects)

    return finish


class _Written(pydyf.Object):  # type: ignore[misc]
    """A finished object, written and compressed once.

    pydyf does both twice: for the file, and for the file's identifier, a digest of all objects.
    """

    data = b""
    compressible = True

    def __init__(self, made: pydyf.Object):
        super().__init__()
        self.number, self.generation, self.free = made.number, made.generation, made.free
        self.compressible = made.compressible
        if self.free == "n":
            self.data = made.data


def _say_accessible(pdf: pydyf.PDF) -> None:
    metadata = _at(pdf, pdf.catalog["Metadata"])
    before, end, after = b"".join(metadata.stream).rpartition(_END)
    if not end:
        raise ValueError("the PDF's metadata hold no RDF to put the second conformance into")
    metadata.stream = [before + _UA + end + after]
    metadata.compress = False


def _scope_headers(pdf: pydyf.PDF) -> None:
    for element in _elements(pdf):
        if element["S"] == "/TH":
            rows = (parent["S"] == "/THead" for parent in _above(pdf, element))
            element.setdefault("A", pydyf.Dictionary({"O": "/Table"}))
            element["A"]["Scope"] = "/Column" if any(rows) else "/Row"


def _ungroup_lists(pdf: pydyf.PDF) -> None:
    """Move the items of a list's groups, as in ``dl``, into the list itself."""
    for element in _elements(pdf):
        if element["S"] == "/L":
            items = pydyf.Array()
            for reference in element["K"]:
                kid = _at(pdf, reference)
                items.extend([reference] if kid["S"] != "/Div" else _items(pdf, kid, element))
            element["K"] = items


def _items(pdf: pydyf.PDF, group: Any, whole: Any) -> list[bytes]:
    """Return the items of a group, their parent now the whole list; empty the group."""
    found = list(group["K"])
    for reference in found:
        _at(pdf, reference)["P"] = whole.reference
    group["K"] = pydyf.Array()
    return found


def _elements(pdf: pydyf.PDF) -> Iterator[Any]:
    """Yield every element of the structure tree."""
    for one in pdf.objects:
        if isinstance(one, dict) and one.get("Type") == "/StructElem":
            yield one


def _above(pdf: pydyf.PDF, element: Any) -> Iterator[Any]:
    """Yield an element's ancestors, nearest first."""
    while True:
        element = _at(pdf, element["P"])
        if "S" not in element:
            return
        yield element


def _at(pdf: pydyf.PDF, reference: bytes | str) -> Any:
    """Return the object that a reference points to."""
    text = reference.decode() if isinstance(reference, bytes) else str(reference)
    return pdf.objects[int(text.split()[0])]
