"""Scores of real songs, read by three libraries: the notes of the sheet in each, without a warning?

    python -m tests.benchmarks.score_readers FOLDER... [--most N] [--schema musicxml_4_0.xsd]

Songs (MIDI, ``--most`` of each folder, spread over it) are converted, sheets (``.duet``) are taken as
they are. Their MusicXML is read by music21, partitura (``pip install '.[measure]'``) and verovio; what
each reads is compared with the sheet's rows: onset, end and pitch of each tone, ties joined, and the
onsets of drums. With ``--schema`` it is validated too (the W3C's; the package ``musicxml`` carries a
copy; what it imports is replaced, so the folder of the schema needs nothing else). Goal: no
difference and no warning but those that every score with such a sign gets from partitura 1.9: it says
that it ignores metronome and rehearsal marks. On 28 scores (147 such warnings) two other ways were
tried. As words ("♩ = 112", a boxed "A") it says as often that it can't parse them. With a
processing instruction within the words it is silent, and so are the others; but then music21 knows
none of 28 metronome and 119 rehearsal marks, and programs show text. So they stay what they are.
Chords of unpitched notes it can't read at all; drums are two voices, which all three read alike.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import logging
import os
import tempfile
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import music21
import partitura
import verovio
from lxml import etree

import arranger
from arranger.rows import tone_spans
from arranger.sheet.score.musicxml import to_musicxml
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.engine.model import Engine
    from arranger.sheet import Sheet

Read = tuple[Fraction, Fraction, int]
IGNORED = ("ignoring direction type: metronome", "ignoring direction type: rehearsal")
MEI = "{http://www.music-encoding.org/ns/mei}"
NAME = "{http://www.w3.org/XML/1998/namespace}id"
IMPORTED = {
    "http://www.musicxml.org/xsd/xml.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
        targetNamespace="http://www.w3.org/XML/1998/namespace">
        <xs:attribute name="lang" type="xs:language"/>
        <xs:attribute name="space" type="xs:NCName"/></xs:schema>""",
    "http://www.musicxml.org/xsd/xlink.xsd": """<xs:schema
        xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/1999/xlink">
        <xs:attribute name="href" type="xs:anyURI"/><xs:attribute name="type" type="xs:token"/>
        <xs:attribute name="role" type="xs:token"/><xs:attribute name="title" type="xs:token"/>
        <xs:attribute name="show" type="xs:token"/><xs:attribute name="actuate" type="xs:token"/>
        </xs:schema>""",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--most", type=int, default=20)
    parser.add_argument("--schema", type=Path)
    asked = parser.parse_args()
    schema = _schema(asked.schema) if asked.schema else None
    counts: Counter[str] = Counter()
    for path in (path for folder in asked.folders for path in _some(folder, asked.most)):
        sheet, engine = _sheet(path)
        faults = list(_faults(sheet, engine, schema))
        counts["scores"] += 1
        counts["with faults"] += bool(faults)
        counts["tones"] += sum(len(_tones(row, sheet)) for row in (sheet.voice1, sheet.voice2))
        for fault in faults:
            print(f"{path.parent.name}/{path.name}: {fault}")
    print(dict(counts))


def _some(folder: Path, most: int) -> list[Path]:
    paths = sorted([*folder.glob("*.mid"), *folder.glob("*.duet")])
    return paths[:: max(len(paths) // most, 1)][:most]


def _sheet(path: Path) -> tuple[Sheet, Engine]:
    if path.suffix == ".duet":
        sheet = arranger.read_sheet(path)
        return sheet, arranger.load_engine(sheet.engine)
    engine = arranger.load_engine("twin-phase")
    return arranger.convert(arranger.read_song(path), engine, arranger.Settings()).sheet, engine


def _tones(row: Sequence[int], sheet: Sheet) -> list[Read]:
    step = sheet.step_beats
    return [(start * step, end * step, pitch) for start, end, pitch in tone_spans(row)]


def _faults(sheet: Sheet, engine: Engine, schema: etree.XMLSchema | None) -> Iterator[str]:
    written = to_musicxml(sheet, engine)
    if schema is not None and not schema.validate(etree.fromstring(written)):
        yield f"schema: {schema.error_log.last_error}"
    expected = [_tones(row, sheet) for row in (sheet.voice1, sheet.voice2)]
    sounds = sounds_of(sheet, engine)
    hits = [
        at * sheet.step_beats
        for at, name in enumerate(sheet.drums)
        if name and any(part.kind != "rest" for part in sounds[name].parts)
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.musicxml"
        path.write_bytes(written)
        for reader in (_music21, _partitura, _verovio):
            parts, said = reader(path)
            for line in dict.fromkeys(said):
                if not line.startswith(IGNORED):
                    yield f"{reader.__name__[1:]} says {line}"
            for number in (0, 1):
                if parts[number] != expected[number]:
                    yield f"{reader.__name__[1:]} reads other tones in voice {number + 1}"
            if sorted({start for part in parts[2:] for start, *_ in part}) != hits:
                yield f"{reader.__name__[1:]} reads other drums"


@contextlib.contextmanager
def _listening(said: list[str]) -> Iterator[None]:
    """Collect warnings, log messages, and what is written to standard error, also by C++."""
    text = io.StringIO()
    handler = logging.StreamHandler(text)
    logging.getLogger().addHandler(handler)
    with tempfile.TemporaryFile() as caught, warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("always")
        before = os.dup(2)
        os.dup2(caught.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(before, 2)
            os.close(before)
            logging.getLogger().removeHandler(handler)
            caught.seek(0)
            lines = (text.getvalue() + caught.read().decode()).splitlines()
            said += [*(str(each.message) for each in warned), *lines]


def _joined(notes: list[tuple[Fraction, Fraction, int, bool]]) -> list[Read]:
    found: list[Read] = []
    for start, end, pitch, tied in notes:
        if tied and found and found[-1][1:] == (start, pitch):
            found[-1] = (found[-1][0], end, pitch)
        else:
            found.append((start, end, pitch))
    return found


def _music21(path: Path) -> tuple[list[list[Read]], list[str]]:
    said: list[str] = []
    with _listening(said):
        score = music21.converter.parse(path, forceSource=True)
    parts = []
    for part in score.parts:
        notes = []
        for note in part.flatten().notes:
            start = Fraction(note.offset).limit_denominator(5000)
            end = start + Fraction(note.quarterLength).limit_denominator(5000)
            pitch = note.pitch.midi if isinstance(note, music21.note.Note) else 0
            notes.append((start, end, pitch, note.tie is not None and note.tie.type != "start"))
        parts.append(_joined(notes))
    return parts, said


def _partitura(path: Path) -> tuple[list[list[Read]], list[str]]:
    said: list[str] = []
    with _listening(said):
        score = partitura.load_musicxml(path)
    parts = []
    for part in score.parts:
        notes = []
        for note in part.iter_all(partitura.score.GenericNote, include_subclasses=True):
            if isinstance(note, partitura.score.Rest):
                continue
            start, end = (
                Fraction(each.t, int(part.quarter_duration_map(0)))
                for each in (note.start, note.end)
            )
            tied = note.tie_prev is not None
            pitch = note.midi_pitch if isinstance(note, partitura.score.Note) else 0
            notes.append((start, end, pitch, tied))
        parts.append(_joined(sorted(notes)))
    return parts, said


def _verovio(path: Path) -> tuple[list[list[Read]], list[str]]:
    said: list[str] = []
    with _listening(said):
        toolkit = verovio.toolkit()
        toolkit.setOptions({"breaks": "none"})
        if not toolkit.loadData(path.read_text("utf-8")):
            said.append("can't be read")
        said += toolkit.getLog().splitlines()
        times = toolkit.renderToTimemap({})
        score = etree.fromstring(toolkit.getMEI().encode())
    starts = {name: each["qstamp"] for each in times for name in each.get("on", [])}
    ends = {name: each["qstamp"] for each in times for name in each.get("off", [])}
    ties = {tie.get("startid")[1:]: tie.get("endid")[1:] for tie in score.iter(f"{MEI}tie")}
    parts: dict[str, list[Read]] = {}
    for staff in score.iter(f"{MEI}staff"):
        for note in staff.iter(f"{MEI}note"):
            first = last = note.get(NAME)
            if first in ties.values():
                continue
            while last in ties:
                last = ties[last]
            start, end = (
                Fraction(each).limit_denominator(96) for each in (starts[first], ends[last])
            )
            pitch = toolkit.getMIDIValuesForElement(first)["pitch"]
            parts.setdefault(staff.get("n"), []).append((start, end, pitch))
    return [sorted(parts.get(number, [])) for number in ("1", "2", "3")], said


def _schema(path: Path) -> etree.XMLSchema:
    with tempfile.TemporaryDirectory() as folder:
        text = path.read_text("utf-8")
        for number, (place, content) in enumerate(IMPORTED.items()):
            (Path(folder) / f"{number}.xsd").write_text(content)
            text = text.replace(place, f"{number}.xsd")
        (Path(folder) / "schema.xsd").write_text(text)
        return etree.XMLSchema(etree.parse(Path(folder) / "schema.xsd"))


if __name__ == "__main__":
    main()
