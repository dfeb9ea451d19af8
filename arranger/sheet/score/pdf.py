"""Plain pages as PDF: the few kinds of shapes that `page` leaves, drawn by reportlab.

Each glyph is written once and used by name, so a page takes some 10 KB and a hundredth of a second.
Text is in Times, which every reader has and which has Western European letters only; others become
another sign.
"""

from __future__ import annotations

import re
from io import BytesIO
from typing import TYPE_CHECKING, Any

from arranger.sheet.score.svg_page import LINK

if TYPE_CHECKING:
    from collections.abc import Iterator
    from xml.etree.ElementTree import Element

    from arranger.sheet.score.svg_page import Page

_POINTS_A_MM = 72 / 25.4
_TOKEN = re.compile(r"[A-Za-z]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Z": 0}
_GLYPH_BOX = (-3000, -3000, 6000, 3000)
"""Around all glyphs of a font that has 1000 units to the em."""
_CAPS = {"butt": 0, "round": 1}
_JOINS = {"miter": 0, "round": 1}
_NON_ZERO = 1
"""How reportlab calls the rule by which SVG fills."""


def pdf_document(pages: list[Page], width_mm: int, height_mm: int, title: str) -> bytes:
    """Return pages as a PDF file; each has a size in millimetres.

    Raises `ImportError` if reportlab isn't installed.
    """
    from reportlab.pdfgen.canvas import Canvas

    content = BytesIO()
    width, height = width_mm * _POINTS_A_MM, height_mm * _POINTS_A_MM
    canvas = Canvas(content, (width, height), invariant=1)  # no date, no random name
    canvas.setTitle(title)
    glyphs = {name: glyph for page in pages for name, glyph in page.glyphs.items()}
    for name in sorted(glyphs):
        canvas.beginForm(name, *_GLYPH_BOX)
        canvas.scale(1, -1)  # as all glyphs are
        for path in glyphs[name]:
            _fill(canvas, path.get("d", ""), stroke=0)
        canvas.endForm()
    for page in pages:
        canvas.translate(0, height)
        canvas.scale(width / page.width, -height / page.height)
        for shape in page.drawing:
            _draw(canvas, shape)
        canvas.showPage()
    canvas.save()
    return content.getvalue()


def _draw(canvas: Any, shape: Element) -> None:
    """Draw a shape, or a group of them."""
    canvas.saveState()
    for name, numbers in re.findall(r"(\w+)\(([^)]*)\)", shape.get("transform", "")):
        getattr(canvas, name)(*map(float, numbers.split(",")))
    if shape.tag == "g":
        for each in shape:
            _draw(canvas, each)
    elif shape.tag == "use":
        canvas.doForm(shape.get(LINK, "").removeprefix("#"))
    elif shape.tag == "text":
        _write(canvas, shape)
    else:
        _draw_outline(canvas, shape)
    canvas.restoreState()


def _draw_outline(canvas: Any, shape: Element) -> None:
    width = float(shape.get("stroke-width", 0))
    canvas.setLineWidth(width)
    canvas.setLineCap(_CAPS[shape.get("stroke-linecap", "butt")])
    canvas.setLineJoin(_JOINS[shape.get("stroke-linejoin", "miter")])
    drawn = {"stroke": int(width > 0), "fill": int(shape.get("fill") != "none")}
    if shape.tag in ("polygon", "polyline"):
        closed = "Z" if shape.tag == "polygon" else ""
        _fill(canvas, f"M{shape.get('points', '')}{closed}", **drawn)
    elif shape.tag == "path":
        _fill(canvas, shape.get("d", ""), **drawn)
    elif shape.tag == "rect":
        place = [float(shape.get(key, 0)) for key in ("x", "y", "width", "height")]
        canvas.rect(*place, **drawn)
    else:
        x, y, wide, high = (float(shape.get(key, 0)) for key in ("cx", "cy", "rx", "ry"))
        canvas.ellipse(x - wide, y - high, x + wide, y + high, **drawn)


def _write(canvas: Any, text: Element) -> None:
    style = "Bold" if text.get("font-weight") else "Italic" if text.get("font-style") else "Roman"
    canvas.translate(float(text.get("x", 0)), float(text.get("y", 0)))
    canvas.scale(1, -1)
    canvas.setFont(f"Times-{style}", float(text.get("font-size", 0)))
    anchors = {"middle": canvas.drawCentredString, "end": canvas.drawRightString}
    anchors.get(text.get("text-anchor", ""), canvas.drawString)(0, 0, text.text or "")


def _fill(canvas: Any, path: str, *, stroke: int, fill: int = 1) -> None:
    """Draw a path of SVG."""
    drawn = canvas.beginPath()
    for command, points in _segments(path):
        if command == "Z":
            drawn.close()
        elif command == "M":
            drawn.moveTo(*points)
        elif command == "C":
            drawn.curveTo(*points)
        else:
            drawn.lineTo(*points)
    canvas.drawPath(drawn, stroke=stroke, fill=fill, fillMode=_NON_ZERO)


def _segments(path: str) -> Iterator[tuple[str, list[float]]]:
    """Yield the pieces of a path as M, L, C (two control points and the end) and Z, in its units.

    >>> [*_segments("M1 2h3l-1 1z")]
    [('M', [1.0, 2.0]), ('L', [4.0, 2.0]), ('L', [3.0, 3.0]), ('Z', [])]
    """
    words = _TOKEN.findall(path)[::-1]
    here = start = (0.0, 0.0)
    command, handle = "M", here
    while words:
        if words[-1].isalpha():
            command = words.pop()
        kind = command.upper()
        numbers = [float(words.pop()) for _ in range(_ARGUMENTS[kind])]
        origin = here if command.islower() else (0.0, 0.0)
        if kind in "HV":
            axis = "HV".index(kind)
            end = [*here]
            end[axis] = origin[axis] + numbers[0]
            numbers = end
        else:
            numbers = [number + origin[at % 2] for at, number in enumerate(numbers)]
        if kind == "Z":
            here = start
            yield "Z", []
            continue
        if kind == "S":
            numbers = [2 * here[0] - handle[0], 2 * here[1] - handle[1], *numbers]
        here = (numbers[-2], numbers[-1])
        handle = (numbers[2], numbers[3]) if kind in "CS" else here
        if kind == "M":
            start = here
            command = "l" if command.islower() else "L"
        yield {"S": "C", "H": "L", "V": "L"}.get(kind, kind), numbers
