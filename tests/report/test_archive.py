"""The PDF as an archive and a screen reader want it: PDF/A-3a and PDF/UA-1, as far as can be seen.

No validator is to be had here, so what the two standards ask for and what can be read off the file
is looked at: ISO 19005-3:2012, 6.2.2 (output intent), 6.2.11 (fonts), 6.1.3 (no encryption), 6.5
(no actions), 6.6 (metadata), 6.7 (structure), 6.8 (embedded files) [from memory]; the typesetter
refuses pictures without an alternative text by itself.
"""

from __future__ import annotations

import io
import itertools
import re
from collections.abc import Iterator

import pypdf
import pytest
from pypdf.generic import ArrayObject, DictionaryObject, PdfObject, StreamObject

from roadtest.report.making import Reported

_FORBIDDEN = ("/JavaScript", "/JS", "/Launch", "/AA", "/OpenAction", "/Movie", "/Sound")


@pytest.fixture(scope="module")
def reader(sample_pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(sample_pdf), strict=True)


def root(reader: pypdf.PdfReader) -> DictionaryObject:
    found = reader.trailer["/Root"].get_object()
    assert isinstance(found, DictionaryObject)
    return found


def objects(reader: pypdf.PdfReader) -> Iterator[PdfObject]:
    for number in range(1, int(str(reader.trailer["/Size"]))):
        found = reader.get_object(number)
        if found is not None:
            yield found


def elements(reader: pypdf.PdfReader) -> Iterator[DictionaryObject]:
    """Yield the structure elements in reading order."""

    def walk(element: PdfObject | None) -> Iterator[DictionaryObject]:
        element = element.get_object() if element is not None else None
        if isinstance(element, ArrayObject):
            for part in element:
                yield from walk(part)
        elif isinstance(element, DictionaryObject):
            if "/S" in element:
                yield element
            yield from walk(element.get("/K"))

    yield from walk(root(reader)["/StructTreeRoot"].get("/K"))


def test_it_says_what_it_is_and_nothing_runs_in_it(
    reader: pypdf.PdfReader, sample_pdf: bytes
) -> None:
    assert sample_pdf.startswith(b"%PDF-1.7\n%")
    assert all(byte > 127 for byte in sample_pdf[10:14])
    assert "/Encrypt" not in reader.trailer and "/ID" in reader.trailer
    metadata = root(reader)["/Metadata"].get_object()
    assert isinstance(metadata, StreamObject)
    xmp = metadata.get_data().decode()
    for name, value in (("pdfaid:part", "3"), ("pdfaid:conformance", "A"), ("pdfuaid:part", "1")):
        assert re.search(rf"<{name}>\s*{value}\s*</{name}>", xmp), name
    intent = root(reader)["/OutputIntents"][0]
    assert intent["/S"] == "/GTS_PDFA1"
    assert intent["/DestOutputProfile"].get_object()["/N"] == 3
    for found in objects(reader):
        if isinstance(found, DictionaryObject):
            assert not set(_FORBIDDEN) & set(found)
            assert found.get("/S") not in ("/JavaScript", "/Launch", "/SubmitForm", "/ImportData")


def test_every_font_is_inside(reader: pypdf.PdfReader) -> None:
    names = set()
    for found in objects(reader):
        if isinstance(found, DictionaryObject) and found.get("/Type") == "/FontDescriptor":
            names.add(str(found["/FontName"]).partition("+")[2])
            assert {"/FontFile2", "/FontFile3"} & set(found)
        if isinstance(found, DictionaryObject) and found.get("/Subtype") == "/Type0":
            assert "/ToUnicode" in found
    # Charts are drawn in the face of the text: no other family comes in by them.
    assert {re.split(r"[-_]", name)[0] for name in names} == {"LibertinusSerif", "DejaVuSansMono"}


def test_the_results_are_attached_as_data(reader: pypdf.PdfReader, reported: Reported) -> None:
    attached = [part.get_object() for part in root(reader)["/AF"]]
    assert [part["/UF"] for part in attached] == ["results.json"]
    assert attached[0]["/AFRelationship"] == "/Data"
    assert attached[0]["/EF"]["/F"].get_object()["/Subtype"] == "/application/json"


def test_figures_have_words_tables_have_heads_and_headings_skip_no_level(
    reader: pypdf.PdfReader, reported: Reported
) -> None:
    seen = list(elements(reader))
    figures = [element for element in seen if str(element["/S"]) == "/Figure"]
    said = [" ".join(str(figure.get("/Alt", "")).replace("−", "-").split()) for figure in figures]
    assert all(said)
    for chart in reported.charts:
        assert " ".join(chart.says.replace("−", "-").split()) in said, chart.id
    kinds = [str(element["/S"]) for element in seen]
    assert kinds.count("/TH") >= 2 * kinds.count("/Table") > 0
    levels = [int(kind[2:]) for kind in kinds if re.fullmatch(r"/H[1-6]", kind)]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    for page in reader.pages:
        assert "/StructParents" in page


def test_page_one_is_read_in_order_and_is_one_page(
    reader: pypdf.PdfReader, reported: Reported
) -> None:
    words = reader.pages[0].extract_text()
    order = [
        words.index(text)
        for text in ("Road test", "Chassis", "Findings", "FAIL", "PASS", "To bear in mind", "date")
    ]
    assert order == sorted(order)
    for finding in reported.results.findings:
        assert finding.title.split()[-1] in words
    assert reader.pages[1].extract_text().find("What to do next") >= 0
