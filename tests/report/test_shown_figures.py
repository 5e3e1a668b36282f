"""What stands in the PDF of a sample drive against the results file inside it, read anew.

Nothing of the tool's own wording is used: figures are found in the text by their place.
"""

from __future__ import annotations

import io
import json
import re
from typing import Any

import pypdf
import pytest

from roadtest.report.making import Reported

_PAIR = r"([+−-]?[0-9.]+) ± ([0-9.]+)"
_MPH = 0.44704


@pytest.fixture(scope="module")
def text(sample_pdf: bytes) -> str:
    reader = pypdf.PdfReader(io.BytesIO(sample_pdf))
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.fixture(scope="module")
def results(sample_pdf: bytes) -> Any:
    reader = pypdf.PdfReader(io.BytesIO(sample_pdf))
    return json.loads(reader.attachments["results.json"][0])


def agrees(shown: str, value: float) -> bool:
    """Return whether a figure shown is `value` rounded to its last place."""
    shown = shown.replace("−", "-")
    decimals = len(shown.partition(".")[2])
    return abs(float(shown) - value) <= 0.501 * 10.0**-decimals


def row_agrees(
    text: str, lead: str, quantities: list[dict[str, float]], scales: list[float]
) -> bool:
    """Return whether some place in the text has `lead` and then these figures, ± and all."""
    pattern = re.escape(lead) + r" (?:[0-9:]+ )?" + " ".join([_PAIR] * len(quantities))
    for found in re.finditer(pattern, text):
        figures = found.groups()
        pairs = zip(figures[::2], figures[1::2], quantities, scales, strict=True)
        if all(agrees(v, q["value"] / s) and agrees(u, q["u95"] / s) for v, u, q, s in pairs):
            return True
    return False


def test_every_reading_of_the_dial(text: str, results: Any) -> None:
    readings = [r for r in results["speedometer"]["readings"] if r["indicated"]]
    assert len(readings) >= 4
    for reading in readings:
        figures = [reading["indicated"], reading["true"], reading["error"]]
        assert row_agrees(text, reading["manoeuvre"], figures, [_MPH] * 3), reading["manoeuvre"]


def test_every_stop(text: str, results: Any) -> None:
    stops = results["braking"]["stops"]
    assert len(stops) >= 4
    for stop in stops:
        figures = [
            stop[key] for key in ("initial_speed", "mfdd", "mfdd_level", "peak", "build_up_s")
        ]
        assert row_agrees(text, stop["manoeuvre"], figures, [_MPH, 1, 1, 1, 1]), stop["manoeuvre"]


def test_every_step_and_every_engine_speed(text: str, results: Any) -> None:
    for step in results["gearing"]["steps"]:
        assert row_agrees(text, f"{step['from']} to {step['to']}", [step["step"]], [1])
    for row in results["gearing"]["cruise"]:
        found = re.findall(_PAIR, text)
        assert any(
            agrees(v, row["rpm"]["value"]) and agrees(u, row["rpm"]["u95"]) for v, u in found
        )


def test_what_page_one_found_and_allows(text: str, results: Any) -> None:
    page = text[: text.index("To bear in mind")]
    for finding in results["findings"]:
        measured = finding["measured"]
        if measured is None or measured["u95"] == 0.0:
            continue
        scale = {"m/s": _MPH}.get(measured["unit"], 1.0)
        if finding["id"] in ("clutch_slip", "fade", "spread"):
            scale = 0.01
        shown = re.findall(_PAIR, page[page.index(finding["title"].split(":")[0]) :])
        value, u95 = measured["value"] / scale, measured["u95"] / scale
        assert any(agrees(v, value) and agrees(u, u95) for v, u in shown), finding["id"]


def test_every_file_with_its_size_and_hash(text: str, results: Any, reported: Reported) -> None:
    close = text.replace(" ", "")
    for file in results["files"]:
        assert f"{file['name']}{file['kind']}{file['size']}{file['sha256']}" in close
    assert results["software"]["version"] in text
