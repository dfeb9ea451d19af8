"""A page as it is engraved, made plain: element by element."""

from __future__ import annotations

from pathlib import Path
from xml.etree.ElementTree import tostring

import pytest
import verovio

from arranger.sheet.score.svg_page import Page, document, plain_page

ENGRAVED = """\
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 9 9">
<defs><g id="E050-x7"><path transform="scale(1,-1)" d="M0 0"/><path/></g></defs>
<svg viewBox="0 0 200 100"><g class="page" transform="translate(5, 6)">{}</g></svg></svg>
"""


def page(inside: str) -> Page:
    return plain_page(ENGRAVED.format(inside), Path(verovio.toolkit(False).getResourcePath()))


@pytest.mark.parametrize(
    ("inside", "plain"),
    [
        ('<g class="placeholder"><path d="M9 9"/></g><path d="M1 1" class="q" stroke="red"/>',
         '<path d="M1 1" />'),
        ('<g class="note"><g><use xlink:href="#E050-x7" transform="scale(2, 2)" id="z"/></g></g>',
         '<use xlink:href="#E050" transform="scale(2, 2)" />'),
        ('<rect x="1" y="2" height="3" width="4" stroke-width="2" fill-opacity="0"/>',
         '<rect x="1" y="2" height="3" width="4" stroke-width="2" stroke="#000" fill="none" />'),
        ('<ellipse cx="1" cy="2" rx="3" ry="4" fill-opacity="1"/><polygon points="1,2 3,4"/>',
         '<ellipse cx="1" cy="2" rx="3" ry="4" /><polygon points="1,2 3,4" />'),
        ('<g transform="translate(1, 1)"><desc/></g><g transform="scale(3)"><path d="M2 2"/></g>',
         '<g transform="scale(3)"><path d="M2 2" /></g>'),
        # A mark of a rehearsal is bold and lifted once; a blank before a word is a quarter of its size.
        ('<g class="reh" transform="translate(7, 7)"><g transform="scale(3)">'
         '<text x="10" y="20" text-anchor="middle"><tspan font-size="100px"> A</tspan></text></g></g>',
         '<g transform="translate(0, -170)"><g transform="scale(3)"><text x="35" y="20" '
         'font-size="100" text-anchor="middle" font-weight="bold">A</text></g></g>'),
        # The note's glyph is 303 of 1000 wide, each letter about half as wide as high.
        ('<g class="tempo"><text x="10" y="20"><tspan><tspan font-size="400px" font-family="Leipzig">'
         '&#xECA5;&#xECA5;</tspan><tspan font-size="200px">  = 130 </tspan>'
         '<tspan font-family="Leipzig" font-size="400px">&#xECA5;</tspan></tspan></text></g>',
         '<g transform="translate(0, -170)">'
         '<use xlink:href="#ECA5" transform="translate(10, 20) scale(0.4, 0.4)" />'
         '<use xlink:href="#ECA5" transform="translate(131, 20) scale(0.4, 0.4)" />'
         '<text x="352" y="20" font-size="200" font-weight="bold">= 130</text>'
         '<use xlink:href="#ECA5" transform="translate(852, 20) scale(0.4, 0.4)" /></g>'),
        ('<g class="mNum"><text x="1.4" y="2.6"><tspan font-size="50px">12</tspan></text></g>',
         '<text x="1" y="3" font-size="50" font-style="italic">12</text>'),
        # Pieces with places of their own; of one in several sizes the largest.
        ('<text x="1" y="2"><tspan x="5" y="6" text-anchor="end"><tspan font-size="10px">a</tspan>'
         '<tspan font-size="20px">b</tspan></tspan><tspan x="7"><tspan font-size="10px">c</tspan>'
         '</tspan><tspan x="8"><tspan font-size="10px"> </tspan></tspan></text>',
         '<text x="5" y="6" font-size="20" text-anchor="end">ab</text>'
         '<text x="7" y="6" font-size="10" text-anchor="end">c</text>'),
    ],
)  # fmt: skip
def test_shapes_and_words_are_left_and_no_more(inside: str, plain: str) -> None:
    found = page(inside)
    assert (found.width, found.height) == (200, 100)
    (group,) = found.drawing
    assert tostring(group).decode() == f'<g transform="translate(5, 6)">{plain}</g>'
    assert set(found.glyphs) == ({"E050", "ECA5"} if "ECA5" in plain else {"E050"})
    assert [path.get("d") for path in found.glyphs["E050"]] == ["M0 0"]


def test_pages_stand_beneath_each_other_with_glyphs_written_once() -> None:
    one = page('<use xlink:href="#E050-a" transform="scale(1, 1)"/>')
    written = document([one, one], 210, 297, "T & x").decode()
    assert written == (
        "<?xml version='1.0' encoding='UTF-8'?>\n"
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        'width="210mm" height="594mm" viewBox="0 0 200 200" font-family="Times, serif">'
        '<title>T &amp; x</title><defs><g id="E050"><path transform="scale(1,-1)" d="M0 0" /></g></defs>'
        '<rect width="100%" height="100%" fill="#fff" />'
        + "".join(
            f'<g transform="translate(0, {y})"><g transform="translate(5, 6)">'
            '<use xlink:href="#E050" transform="scale(1, 1)" /></g></g>'
            for y in (0, 100)
        )
        + "</svg>\n"
    )
