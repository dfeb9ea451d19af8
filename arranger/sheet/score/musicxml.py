"""A sheet as MusicXML 4.0: a part for each voice, and one for the drums if there are any.

The notes are the sheet's, as written in its rows: what a drum silences is not left out, and the same
pitch twice is two notes. Numbered departures from what is written there:

1. Tones are cut at bar lines and so that beats stay in sight, and tied.
2. A drum lasts to the next one or the end of its beat; a silent sound like ``gap`` isn't written.
   A joint sound is what it joins, struck at once.
3. A hold with nothing before it is a rest.
4. A bar that its metre doesn't fill, or that is too long for it, has a metre of its own that isn't
   printed; the first one is a pickup. Where no metre is that long (a length in triplets), readers
   fill the bar up.
5. Names are made printable, since XML can't hold control characters.
6. Keys are those that the song names, if that is more than C major and the tones bear it out, moved
   with it; else they are found from the tones. They change with a bar.
7. Where the piece goes on after its end is a repeat sign. That it goes on for ever isn't said.
8. Comments of the sheet aren't in it.
"""

from __future__ import annotations

from math import lcm
from typing import TYPE_CHECKING, NamedTuple
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from arranger.errors import one_line
from arranger.sheet.played import played_steps, step_length
from arranger.sheet.score import elements
from arranger.sheet.score.elements import add
from arranger.sheet.score.measures import measures_of
from arranger.sheet.score.parts import DrumStaff, VoicePart, drum_part, keys_of, voice_parts
from arranger.sheet.score.score_bars import beams_of
from arranger.sheet.score.spelling import Accidentals
from arranger.version import VERSION

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet
    from arranger.sheet.score.drums import Stroke
    from arranger.sheet.score.key import Key
    from arranger.sheet.score.measures import Measure
    from arranger.sheet.score.parts import DrumVoice

_SQUARE_LEAD = 81
"""General MIDI program, counted from 1: nearest to the speaker."""
_DRUM_CHANNEL = 10


class _Piece(NamedTuple):
    """What all parts share."""

    measures: list[Measure]
    keys: list[Key]
    divisions: int
    """Of a quarter note."""
    asked_tempo: float
    """Quarter notes a minute, as the sheet says."""
    tempo: float
    """...and as the engine plays."""


def to_musicxml(sheet: Sheet, engine: Engine) -> bytes:
    """Return the sheet as a MusicXML file.

    Raises `SheetError` if the engine can't play the sheet, or a step is too small a share of a beat
    for notation.
    """
    played_steps(sheet, engine)
    measures = measures_of(sheet)
    keys = keys_of(sheet, measures)
    voices = voice_parts(sheet, measures, keys)
    drums = drum_part(sheet, engine, measures)
    bars = [bar for part in (*voices, *(drums or ())) for bar in part.bars]
    divisions = lcm(
        *((value.end - value.start).denominator for bar in bars for value in bar.values)
    )
    # quarters/step * s/min / (s/step) = quarters/min
    tempo = float(sheet.step_beats) * 60 / step_length(sheet, engine).seconds
    asked = sheet.tempo if sheet.tempo and sheet.length is None else tempo
    piece = _Piece(measures, keys, divisions, asked, tempo)
    score = Element("score-partwise", version="4.0")
    add(score, "movement-title", one_line(sheet.title))
    encoding = SubElement(SubElement(score, "identification"), "encoding")
    add(encoding, "software", f"arranger {VERSION}")
    for sign in ("accidental", "beam"):
        SubElement(encoding, "supports", element=sign, type="yes")
    _add_part_list(score, drums)
    for number, part in enumerate(voices, 1):
        _add_part(score, number, _voice(part, keys, divisions), piece)
    if drums:
        _add_part(score, 3, _drums(drums, divisions), piece)
    indent(score)
    written: bytes = tostring(score, encoding="UTF-8", xml_declaration=True)
    return written + b"\n"


def _add_part_list(score: Element, drums: DrumStaff | None) -> None:
    """Say what the parts are called and what programs play them with."""
    parts = SubElement(score, "part-list")
    group = SubElement(parts, "part-group", type="start", number="1")
    add(group, "group-symbol", "bracket")
    add(group, "group-barline", "yes")
    for number in (1, 2):
        part = _score_part(parts, number, f"voice {number}", f"v. {number}")
        sound = SubElement(part, "score-instrument", id=f"voice-{number}")
        add(sound, "instrument-name", f"voice {number}")
        playing = SubElement(part, "midi-instrument", id=f"voice-{number}")
        add(playing, "midi-channel", number)
        add(playing, "midi-program", _SQUARE_LEAD)
    SubElement(parts, "part-group", type="stop", number="1")
    if drums is None:
        return
    part = _score_part(parts, 3, "drums", "dr.")
    used = {stroke.name: stroke for voice in drums for hit in voice.strokes for stroke in hit}
    # By key: music21 looks up the first one, and knows kicks and snares but not claps.
    strokes = sorted(used.values(), key=lambda each: (each.key is None, each.key, each.name))
    for stroke in strokes:
        sound = SubElement(part, "score-instrument", id=elements.instrument_of(stroke))
        add(sound, "instrument-name", stroke.name)
    for stroke in strokes:
        playing = SubElement(part, "midi-instrument", id=elements.instrument_of(stroke))
        add(playing, "midi-channel", _DRUM_CHANNEL)
        if stroke.key is not None:
            add(playing, "midi-unpitched", stroke.key + 1)  # counted from 1


def _score_part(parts: Element, number: int, name: str, short: str) -> Element:
    part = SubElement(parts, "score-part", id=f"P{number}")
    add(part, "part-name", name)
    add(part, "part-abbreviation", short)
    return part


class _Content(NamedTuple):
    """What is a part's own in a bar."""

    clef: Element | None
    """None: as before."""
    key: Element | None
    notes: list[Element]


def _voice(part: VoicePart, keys: list[Key], divisions: int) -> Iterator[_Content]:
    """Yield what stands in each bar of a voice."""
    clef_before = key_before = None
    for bar, clef, key in zip(part.bars, part.clefs, keys, strict=True):
        accidentals = Accidentals(key.sharps)
        written = []
        for value, beams in zip(bar.values, beams_of(bar), strict=True):
            if value.what is None:
                written.append(elements.rest(value, bar, divisions))
                continue
            name = part.names[value.what]
            shown = accidentals.needed(name, tied=value.tied_from)
            written.append(elements.tone(value, name, bar, divisions, beams, shown=shown))
        yield _Content(
            elements.clef_of(clef) if clef != clef_before else None,
            elements.key_of(key) if key != key_before else None,
            written,
        )
        clef_before, key_before = clef, key


def _drums(part: DrumStaff, divisions: int) -> Iterator[_Content]:
    """Yield what stands in each bar of the drums; sounds without a common place are named once."""
    named: set[Stroke] = set()
    for index in range(len(part.upper.bars)):
        struck = [each for each in enumerate(part, 1) if each[1].is_struck(index)]
        written: list[Element] = []
        for number, voice in struck or [(1, part.upper)]:
            if written:
                written.append(elements.backup(voice.bars[index], divisions))
            written += _drum_voice(voice, index, divisions, number, named)
        yield _Content(None if index else elements.clef_of(None), None, written)


def _drum_voice(
    voice: DrumVoice, index: int, divisions: int, number: int, named: set[Stroke]
) -> Iterator[Element]:
    """Yield the notes of a bar of one of the voices of the drums, and names before their first."""
    bar = voice.bars[index]
    for value, beams in zip(bar.values, beams_of(bar), strict=True):
        if value.what is None:
            yield elements.rest(value, bar, divisions, number)
            continue
        strokes = voice.strokes[value.what]
        for stroke in strokes:
            if stroke.key is None and stroke not in named:
                named.add(stroke)
                yield elements.words(stroke.name)
        yield from elements.hit(value, strokes, bar, divisions, beams, number)


def _add_part(score: Element, number: int, contents: Iterator[_Content], piece: _Piece) -> None:
    """Write the measures of a part; what is for all parts of the score stands above the first."""
    part = SubElement(score, "part", id=f"P{number}")
    said = None
    for index, (measure, content) in enumerate(zip(piece.measures, contents, strict=True)):
        written = SubElement(part, "measure", number=str(measure.number))
        if measure.implicit:
            written.set("implicit", "yes")
        new_metre = measure.said is not None and measure.said != said
        metre = elements.metre_element(measure) if new_metre else None
        said = measure.said or said
        attributes = Element("attributes")
        if index == 0:
            add(attributes, "divisions", piece.divisions)
        attributes.extend([each for each in (content.key, metre, content.clef) if each is not None])
        if len(attributes):
            written.append(attributes)
        if measure.goes_back_here and index > 0:
            written.append(elements.barline(repeat="forward"))
        if number == 1:
            if index == 0:
                written.append(elements.tempo_mark(measure, piece.asked_tempo, piece.tempo))
            if measure.section:
                written.append(elements.rehearsal_mark(measure.section))
        written.extend(content.notes)
        if index + 1 == len(piece.measures):
            goes_back = any(each.goes_back_here for each in piece.measures)
            written.append(elements.barline(repeat="backward" if goes_back else ""))
        elif piece.keys[index + 1] != piece.keys[index]:
            written.append(elements.double_barline())
