"""What every PDF is finished with: PDF/A-3b for archives, and the marks of PDF/UA-1 for readers.

WeasyPrint writes one conformance; a record needs two. The second is put beside the first in the
document's metadata (ISO 14289-1, clause 5), described there as ISO 19005-3 asks (clause 6.6.2.3),
and each header of a table is told whether it heads a column or a row (ISO 14289-1, clause 7.5).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pydyf  # type: ignore[import-untyped]

#: The conformance WeasyPrint itself writes.
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
    """Return what finishes a PDF before it is written; another finisher goes before it."""

    def finish(document: Any, pdf: pydyf.PDF) -> None:
        if finisher is not None:
            finisher(document, pdf)
        _say_accessible(pdf)
        _scope_headers(pdf)

    return finish


def _say_accessible(pdf: pydyf.PDF) -> None:
    metadata = _at(pdf, pdf.catalog["Metadata"])
    before, end, after = b"".join(metadata.stream).rpartition(_END)
    if not end:
        raise ValueError("the PDF's metadata hold no RDF to put the second conformance into")
    metadata.stream = [before + _UA + end + after]


def _scope_headers(pdf: pydyf.PDF) -> None:
    for element in _elements(pdf):
        if element["S"] == "/TH":
            rows = (parent["S"] == "/THead" for parent in _above(pdf, element))
            element.setdefault("A", pydyf.Dictionary({"O": "/Table"}))
            element["A"]["Scope"] = "/Column" if any(rows) else "/Row"


def _elements(pdf: pydyf.PDF) -> Iterator[Any]:
    """Yield every element of the structure."""
    for one in pdf.objects:
        if isinstance(one, dict) and one.get("Type") == "/StructElem":
            yield one


def _above(pdf: pydyf.PDF, element: Any) -> Iterator[Any]:
    """Yield the elements an element stands in, the nearest first."""
    while True:
        element = _at(pdf, element["P"])
        if "S" not in element:
            return
        yield element


def _at(pdf: pydyf.PDF, reference: bytes | str) -> Any:
    """Return the object a reference leads to."""
    text = reference.decode() if isinstance(reference, bytes) else str(reference)
    return pdf.objects[int(text.split()[0])]
