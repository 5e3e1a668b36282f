"""The shop's logo: pictures are taken, anything more or less is refused in one line."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import pytest

from roadtest.errors import InputError
from roadtest.report.logo import read_logo

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">%b</svg>'
XLINK = b'xmlns:xlink="http://www.w3.org/1999/xlink"'
# A white pixel.
JPEG = bytes.fromhex(
    "ffd8ffdb004300080606070605080707070909080a0c140d0c0b0b0c1912130f141d1a1f1e1d1a1c1c20242e2720222c"
    "231c1c2837292c30313434341f27393d38323c2e333432ffc0000b080001000101011100ffc4001f0000010501010101"
    "010100000000000000000102030405060708090a0bffc400b5100002010303020403050504040000017d010203000411"
    "05122131410613516107227114328191a1082342b1c11552d1f02433627282090a161718191a25262728292a34353637"
    "38393a434445464748494a535455565758595a636465666768696a737475767778797a838485868788898a9293949596"
    "9798999aa2a3a4a5a6a7a8a9aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9dae1e2e3e4e5e6e7e8"
    "e9eaf1f2f3f4f5f6f7f8f9faffda0008010100003f00fbffd9"
)


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int = 2, height: int = 2) -> bytes:
    rows = zlib.compress((b"\0" + bytes(3 * min(width, 9))) * min(height, 9))
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", rows), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts)


def read(data: bytes, name: str, folder: Path) -> str:
    """Return the kind of the logo read."""
    (folder / name).write_bytes(data)
    logo = read_logo(name, folder)
    assert logo is not None and logo.data == data
    return logo.kind


def test_pictures_are_taken(tmp_path: Path) -> None:
    assert read(png(), "logo.png", tmp_path) == "png"
    assert read(JPEG, "logo.JPG", tmp_path) == "jpg"
    drawing = SVG % b'<defs><path id="a" d="M0 0h9"/></defs><use href="#a" fill="url(#b)"/>'
    assert read(drawing, "logo.svg", tmp_path) == "svg"
    assert read_logo(None, tmp_path) is None


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("logo.png", png()[:40], "broken"),
        ("logo.png", JPEG, "no PNG"),
        ("logo.jpg", b"\xff\xd8\xff\xe0 no more", "no JPEG"),
        ("logo.jpg", JPEG[:200], "broken"),
        ("logo.png", png(60_000, 60_000), "60000 by 60000 pixels"),
        ("logo.png", b"", "empty"),
        ("logo.png", bytes(2**21 + 1), "over 2 MB"),
        ("logo.gif", b"GIF89a", "no such picture"),
        ("logo.svg", b"<html/>", "no SVG"),
        ("logo.svg", SVG[:30], "well-formed"),
        ("logo.svg", SVG % b"<script>1</script>", "<script>"),
        ("logo.svg", SVG % b"<foreignObject/>", "<foreignobject>"),
        ("logo.svg", SVG % b'<image href="secret.png"/>', "<image>"),
        ("logo.svg", SVG % b'<rect onclick="x()"/>', "script"),
        ("logo.svg", SVG % (b"<a " + XLINK + b' xlink:href="http://x.invalid"/>'), "another file"),
        ("logo.svg", SVG % b"<style>@import 'x.css';</style>", "another file"),
        ("logo.svg", SVG % b'<rect style="fill: url( http://x.invalid)"/>', "another file"),
        ("logo.svg", b'<!DOCTYPE svg [<!ENTITY a "b">]>' + SVG % b"", "document type"),
        ("logo.svg", (SVG % b"").decode().encode("utf-16"), "UTF-8"),
    ],
)
def test_what_is_no_picture_or_more_than_one_is_refused(
    name: str, data: bytes, said: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=said) as caught:
        read(data, name, tmp_path)
    assert str(caught.value).startswith("build.toml, shop.logo: logo.")


@pytest.mark.parametrize("name", ["../logo.png", "/etc/hostname", "..", "none.png"])
def test_a_logo_lies_beside_the_sheet(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"shop\.logo"):
        read_logo(name, tmp_path)
