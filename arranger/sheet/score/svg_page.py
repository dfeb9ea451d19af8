"""An engraved page as plain SVG: the same drawing, of what every viewer and converter understands.

verovio's own pages style shapes by rules, nest positions of text in each other, write notes in text
(those of metronome marks) in a font that has to be there, and name everything at random. Here styles
stand at the shapes, a piece of text is one element, notes in it are drawn, and names are those of
the glyphs (Standard Music Font Layout).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_SVG = "http://www.w3.org/2000/svg"
_X_LINK = "http://www.w3.org/1999/xlink"
_XLINK_HREF = f"{{{_X_LINK}}}href"
LINK = "xlink:href"
"""What a ``use`` refers to."""
_SHAPES = ("path", "polygon", "polyline", "rect", "ellipse", "use")
_KEPT = (
    "d", "points", "x", "y", "height", "width", "cx", "cy", "rx", "ry", "transform", "fill",
    "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray",
)  # fmt: skip
_BOLD = {"tempo", "reh", "ending"}
_ITALIC = {"dir", "mNum"}
_FONT = "Leipzig"
_EM = 1000
_LIFTED = {"tempo", "reh"}
_LIFT = "translate(0, -170)"
"""A space of the staff: verovio sets a metronome mark onto it; a rehearsal mark stands above that."""
_SPACE = 0.25
"""How wide a space is in Times, as a share of the size."""


class Page(NamedTuple):
    """One page."""

    width: int
    height: int
    """In units of its drawing."""
    glyphs: dict[str, Element]
    """What its ``use`` elements refer to, by name."""
    drawing: list[Element]


def plain_page(engraved: str, resources: Path) -> Page:
    """Return a page that verovio engraved.

    ``engraved``: its SVG.
    ``resources``: the folder of verovio's fonts.
    """
    root = fromstring(engraved)  # noqa: S314 -- verovio wrote it
    inner = root.find(f"{{{_SVG}}}svg")
    assert inner is not None  # noqa: S101 -- so verovio writes its pages
    width, height = map(int, inner.get("viewBox", "").split()[2:])
    glyphs = {
        _glyph_name(each.get("id", "")): _plain_glyph(each)
        for each in root.iterfind(f"{{{_SVG}}}defs/{{{_SVG}}}g")
    }
    page = _Drawing(glyphs, resources)
    return Page(width, height, glyphs, [*page.plain(inner, frozenset())])


def document(pages: list[Page], width_mm: int, height_mm: int, title: str) -> bytes:
    """Return pages beneath each other as one SVG file; each has a size in millimetres."""
    height = pages[0].height
    whole = Element(
        "svg",
        {
            "xmlns": _SVG,
            "xmlns:xlink": _X_LINK,
            "width": f"{width_mm}mm",
            "height": f"{height_mm * len(pages)}mm",
            "viewBox": f"0 0 {pages[0].width} {height * len(pages)}",
            "font-family": "Times, serif",
        },
    )
    SubElement(whole, "title").text = title
    glyphs = {name: glyph for page in pages for name, glyph in page.glyphs.items()}
    SubElement(whole, "defs").extend(glyphs[name] for name in sorted(glyphs))
    SubElement(whole, "rect", {"width": "100%", "height": "100%", "fill": "#fff"})
    for number, page in enumerate(pages):
        place = SubElement(whole, "g", transform=f"translate(0, {number * height})")
        place.extend(page.drawing)
    written: bytes = tostring(whole, encoding="UTF-8", xml_declaration=True)
    return written + b"\n"


def _glyph_name(text: str) -> str:
    """Return the name of a glyph without what makes it unique: "E050" of "E050-x7"."""
    return text.lstrip("#").partition("-")[0]


def _plain_glyph(written: Element) -> Element:
    glyph = Element("g", id=_glyph_name(written.get("id", "")))
    for path in written.iter():
        if path.get("d"):
            SubElement(glyph, "path", {key: path.get(key, "") for key in ("transform", "d")})
    return glyph


class _Run(NamedTuple):
    """A piece of text in one font."""

    text: str
    size: float
    is_music: bool


@dataclass(slots=True)
class _Drawing:
    """What is drawn, and the glyphs that it needs."""

    glyphs: dict[str, Element]
    resources: Path

    def plain(self, element: Element, classes: frozenset[str]) -> Iterator[Element]:
        """Yield the plain drawing of what an element holds."""
        for child in element:
            tag = child.tag.rpartition("}")[2]
            inside = classes | {*child.get("class", "").split()}
            if tag == "text":
                yield from self._texts(child, inside)
            elif tag in _SHAPES:
                yield _plain_shape(child, tag)
            elif tag == "g" and "placeholder" not in inside:
                shapes = [*self.plain(child, inside)]
                transform = _LIFT if _LIFTED & (inside - classes) else child.get("transform")
                if shapes and transform:
                    group = Element("g", transform=transform)
                    group.extend(shapes)
                    yield group
                else:
                    yield from shapes

    def _texts(self, text: Element, classes: frozenset[str]) -> Iterator[Element]:
        """Yield each stretch of a text that has a place of its own."""
        place: dict[str, str] = text.attrib
        runs: list[_Run] = []
        for child in text.iter():
            if child.tag.endswith("}tspan") and child.get("x"):
                yield from self._stretch(place, runs, classes)
                place, runs = {**place, **child.attrib}, []
            if child.tag.endswith("}tspan") and len(child) == 0 and child.text:
                size = float(child.get("font-size", "0").removesuffix("px"))
                runs.append(_Run(child.text, size, child.get("font-family") == _FONT))
        yield from self._stretch(place, runs, classes)

    def _stretch(
        self, place: dict[str, str], runs: list[_Run], classes: frozenset[str]
    ) -> Iterator[Element]:
        """Yield notes in text as glyphs, and the words between as one element each."""
        x, y = (float(place.get(axis, 0)) for axis in "xy")
        for is_music, group in groupby(runs, lambda run: run.is_music):
            found = list(group)
            size = max(run.size for run in found)
            words = "".join(run.text for run in found)
            if is_music:
                for character in words:
                    name = f"{ord(character):04X}"
                    yield _use(name, x, y, size / _EM)
                    x += self._advance(name) * size / _EM
            elif words.strip():
                before = len(words) - len(words.lstrip())
                x += before * size * _SPACE
                yield _words(words.strip(), x, y, size, place.get("text-anchor", ""), classes)
                x += len(words.strip()) * size / 2  # about; only notes after words need it

    def _advance(self, name: str) -> float:
        """Return how wide a glyph is, and note that it is needed."""
        if name not in self.glyphs:
            drawn = (self.resources / _FONT / f"{name}.xml").read_text("utf-8")
            self.glyphs[name] = _plain_glyph(fromstring(drawn))  # noqa: S314 -- as above
        sizes = (self.resources / f"{_FONT}.xml").read_text("utf-8")
        found = re.search(rf'c="{name}"[^>]*h-a-x="([\d.]+)"', sizes)
        return float(found[1]) if found else _EM / 2


def _plain_shape(shape: Element, tag: str) -> Element:
    if tag == "use":
        name = _glyph_name(shape.get(_XLINK_HREF, ""))
        return Element("use", {LINK: f"#{name}", "transform": shape.get("transform", "")})
    plain = Element(tag, {key: shape.get(key, "") for key in _KEPT if shape.get(key)})
    if shape.get("stroke-width"):
        plain.set("stroke", "#000")
    if shape.get("fill-opacity") == "0":  # the box of a rehearsal mark
        plain.set("fill", "none")
    return plain


def _use(name: str, x: float, y: float, scale: float) -> Element:
    transform = f"translate({x:.0f}, {y:.0f}) scale({scale:g}, {scale:g})"
    return Element("use", {LINK: f"#{name}", "transform": transform})


def _words(
    words: str, x: float, y: float, size: float, anchor: str, classes: frozenset[str]
) -> Element:
    text = Element("text", {"x": f"{x:.0f}", "y": f"{y:.0f}", "font-size": f"{size:g}"})
    if anchor:
        text.set("text-anchor", anchor)
    if classes & _BOLD:
        text.set("font-weight", "bold")
    if classes & _ITALIC:
        text.set("font-style", "italic")
    text.text = words
    return text
