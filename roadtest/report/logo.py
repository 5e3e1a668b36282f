"""The shop's logo: a picture beside the build sheet, and nothing but a picture."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Final

from roadtest.errors import InputError
from roadtest.report.model import Logo
from roadtest.report.pdf import is_drawable

_MOST_BYTES: Final = 2 * 2**20
_MOST_PIXELS: Final = 25_000_000
_WANTED: Final = "a PNG, JPEG or SVG picture beside the build sheet, at most 2 MB and 25 megapixels"
_PLAIN_SVG: Final = "an SVG that is a drawing alone: no script, no page, nothing from elsewhere"
_KINDS: Final = {".png": "png", ".jpg": "jpg", ".jpeg": "jpg", ".svg": "svg"}
_JPEG_SIZE: Final = re.compile(
    rb"\xff[\xc0-\xc3\xc5-\xc7\xc9-\xcb\xcd-\xcf]..\x08(..)(..)", re.DOTALL
)
"""The beginning of a frame, with its height and width: ITU-T T.81, B.2.2 [from memory]."""
_ACTIVE: Final = frozenset({"script", "foreignobject", "iframe", "handler", "image", "feimage"})
_ELSEWHERE: Final = re.compile(r"@import|url\(\s*['\"]?(?!#)", re.IGNORECASE)


def read_logo(name: str | None, folder: Path) -> Logo | None:
    """Return the logo called `name`, a picture that lies in `folder` itself; None without one.

    Raises InputError where it is missing, too large, broken, or more than a picture.
    """
    if name is None:
        return None
    if Path(name).name != name or name in ("", ".", ".."):
        raise _no(f"{name} is not a plain file name")
    path = folder / name
    try:
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except OSError as fault:
        raise _no(f"{name}: {(fault.strerror or str(fault)).lower()}") from None
    return logo_from(name, data)


def logo_from(name: str, data: bytes) -> Logo:
    """Return the picture `data`, of a file called `name`, as a logo.

    Raises InputError where it is too large, broken, or more than a picture.
    """
    kind = _KINDS.get(Path(name).suffix.lower())
    if kind is None:
        raise _no(f"{name} is no such picture")
    if not 0 < len(data) <= _MOST_BYTES:
        raise _no(f"{name} is {'over 2 MB' if data else 'empty'}")
    logo = Logo(data, kind)
    wrong = _fault_of_svg(data) if kind == "svg" else _fault_of_raster(logo)
    if wrong:
        raise _no(f"{name} {wrong}", _PLAIN_SVG if kind == "svg" else _WANTED)
    if not is_drawable(logo):
        raise _no(f"{name} is broken, or of another kind than its name says")
    return logo


def _no(found: str, wanted: str = _WANTED) -> InputError:
    return InputError("build.toml", "shop.logo", found, wanted)


def _fault_of_raster(logo: Logo) -> str:
    """Return what is wrong with a PNG or JPEG before it is decoded; "" where nothing is."""
    if logo.kind == "png":
        if not logo.data.startswith(b"\x89PNG\r\n\x1a\n") or len(logo.data) < 24:
            return "is no PNG picture"
        sides = logo.data[16:20], logo.data[20:24]
    else:
        found = _JPEG_SIZE.search(logo.data) if logo.data.startswith(b"\xff\xd8\xff") else None
        if found is None:
            return "is no JPEG picture"
        sides = found[1], found[2]
    width, height = (int.from_bytes(side, "big") for side in sides)
    return "" if 0 < width * height <= _MOST_PIXELS else f"has {width} by {height} pixels"


def _fault_of_svg(data: bytes) -> str:
    """Return what an SVG holds that a picture has no need of; "" where it is nothing."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return "is not written in UTF-8"
    if "<!" in text.replace("<!--", "").replace("<![CDATA[", ""):
        return "has a document type or an entity"
    try:
        root = ET.fromstring(text)
    except ET.ParseError:
        return "is no well-formed SVG"
    if _local(root.tag) != "svg":
        return "is no SVG picture"
    for element in root.iter():
        words = (element.text or "", *element.attrib.values())
        if _local(element.tag) in _ACTIVE:
            return f"holds <{_local(element.tag)}>"
        for name, value in element.attrib.items():
            if _local(name).startswith("on"):
                return f"holds a script ({_local(name)})"
            if _local(name) == "href" and not value.startswith("#"):
                return "refers to another file"
        if any(_ELSEWHERE.search(word) for word in words):
            return "refers to another file"
    return ""


def _local(tag: object) -> str:
    """Return a tag's or attribute's name without its namespace, in small letters."""
    return str(tag).rpartition("}")[2].lower()
