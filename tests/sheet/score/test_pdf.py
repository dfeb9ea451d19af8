"""Plain shapes as the operators of PDF (ISO 32000-1), read from the file."""

from __future__ import annotations

import base64
import re
import zlib
from xml.etree.ElementTree import Element, SubElement

from arranger.sheet.score.pdf import _segments, pdf_document
from arranger.sheet.score.svg_page import LINK, Page


def streams(pdf: bytes) -> list[list[str]]:
    """Return the lines of each glyph and page."""
    found = re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL)
    packed = [base64.a85decode(each.strip().removesuffix(b"~>")) for each in found]
    return [zlib.decompress(each).decode().strip().splitlines() for each in packed]


def shape(tag: str, text: str = "", **given: str) -> Element:
    found = Element(tag, {key.replace("_", "-"): value for key, value in given.items()})
    found.text = text
    return found


def test_shapes_are_drawn_where_they_stand_on_a_page_counted_from_its_top() -> None:
    glyph = Element("g")
    SubElement(glyph, "path", {"d": "M0 0h100v50z"})
    group = shape("g", transform="translate(0, -170)")
    group.append(Element("use", {LINK: "#E050", "transform": "translate(10, 20) scale(0.5, 2)"}))
    drawing = [
        group,
        shape("rect", x="1", y="2", width="3", height="4", fill="none", stroke_width="2"),
        shape("rect", width="5"),
        shape("ellipse", cx="10", cy="20", rx="3", ry="2"),
        shape("ellipse"),
        shape("polygon", points="1,2 3,4 5,6"),
        shape("polyline", points="1,2 3,4", fill="none", stroke_width="0.5"),
        shape("path", d="M0 0C1 2 3 4 5 6S7 8 9 10", stroke_width="13"),
        shape("text", "it", x="7", y="8", font_size="9"),
        shape("text", "it", font_size="10", text_anchor="middle"),
        shape("text", "it", font_size="10", text_anchor="end"),
    ]
    pdf = pdf_document([Page(200, 100, {"E050": glyph}, drawing)], 127, 254, "Quay")
    boxes = re.findall(rb"/(?:BBox|MediaBox) \[ (.*?) \]", pdf)
    assert boxes == [b"-3000 -3000 6000 3000", b"0 0 360 720"]  # 72 points an inch
    of_glyph, page = streams(pdf)
    assert of_glyph[1:] == ["1 0 0 -1 0 0 cm", "n 0 0 m 100 0 l 100 50 l h", "f"]
    assert page[1] == "1.8 0 0 -7.2 0 720 cm"
    drawn = [line for line in page[2:] if line not in ("q", "Q", "0 J", "0 j", "0 w")]
    assert drawn == [
        "1 0 0 1 0 -170 cm", ".5 0 0 2 10 20 cm", "/FormXob.E050 Do",
        "2 w", "n 1 2 3 4 re S",
        "n 0 0 5 0 re f*",
        "n", "13 20 m", "13 21.10457 11.65685 22 10 22 c", "8.343146 22 7 21.10457 7 20 c",
        "7 18.89543 8.343146 18 10 18 c", "11.65685 18 13 18.89543 13 20 c", "f*",
        "n", "0 0 m", *["0 0 0 0 0 0 c"] * 4, "f*",
        "n 1 2 m 3 4 l 5 6 l h", "f",
        ".5 w", "n 1 2 m 3 4 l", "S",
        "13 w", "n 0 0 m 1 2 3 4 5 6 c 7 8 7 8 9 10 c", "B",
        "1 0 0 -1 7 8 cm", "BT /F2 9 Tf 10.8 TL ET", "BT 1 0 0 1 0 0 Tm (it) Tj T* ET",
        # In Times, i and t are each 0.278 of the size wide.
        "1 0 0 -1 0 0 cm", "BT /F2 10 Tf 12 TL ET", "BT 1 0 0 1 -2.78 0 Tm (it) Tj T* ET",
        "1 0 0 -1 0 0 cm", "BT /F2 10 Tf 12 TL ET", "BT 1 0 0 1 -5.56 0 Tm (it) Tj T* ET",
    ]  # fmt: skip


def test_a_path_is_read_as_svg_says() -> None:
    """SVG 1.1, 8.3: small letters count from where the pen is, after a move lines follow, an S mirrors."""
    path = "M1 2H5V6h1v-2l1,1L0 0zm1 1 1 1c1 2 3 4 5 6s1 2 3 4S9 8 7 6l.5-.5 1e1 2M9 9 8 8s1 2 3 4"
    assert [*_segments(path)] == [
        ("M", [1, 2]), ("L", [5, 2]), ("L", [5, 6]), ("L", [6, 6]), ("L", [6, 4]), ("L", [7, 5]),
        ("L", [0, 0]), ("Z", []), ("M", [2, 3]), ("L", [3, 4]), ("C", [4, 6, 6, 8, 8, 10]),
        ("C", [10, 12, 9, 12, 11, 14]), ("C", [13, 16, 9, 8, 7, 6]), ("L", [7.5, 5.5]),
        ("L", [17.5, 7.5]), ("M", [9, 9]), ("L", [8, 8]), ("C", [8, 8, 9, 10, 11, 12]),
    ]  # fmt: skip
