"""Reading a sheet line by line: which line is what, and where comments belong."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from arranger.errors import did_you_mean
from arranger.sheet.form.blocks import Blocks
from arranger.sheet.form.cells import DRUMS
from arranger.sheet.form.header import HEADER_WORDS, SOUND, HeaderRead
from arranger.sheet.form.header_values import WRITE_TEMPO, UnknownWord
from arranger.sheet.form.lexical import value_span, without_comment, word_spans
from arranger.sheet.form.problem import WARNING, Problems
from arranger.sheet.form.text import BELOW, FORMAT, GENERATED_NOTE, HEADER, PACKED, VERSION
from arranger.sheet.model import MAX_STEPS, Comment, Generated, Sheet
from arranger.sheet.record.packed_sheet import is_whole

if TYPE_CHECKING:
    from collections.abc import Sequence

_HEADER_END = len(HEADER) - 1
_IN_BARS = ("bar", "bars", "drums")


class LineReader:
    """Reads line by line, in one pass, and notes what it finds."""

    def __init__(self, lines: Sequence[str]) -> None:
        self.lines = lines
        self.problems = Problems()
        self.header = HeaderRead()
        self.blocks = Blocks(lines, self.problems)
        self.generated: list[tuple[int, list[str]]] = []
        self.comments: list[Comment] = []
        # Comments on lines of their own wait here until the next line tells where they belong.
        self.loose: list[str] = []
        self.loose_after_blank = False
        self.header_loose: list[str] = []
        self.after_blank = False

    def read(self) -> Sheet:
        """Return the sheet, mended to be whole."""
        for number, line in enumerate(self.lines, 1):
            self.problems.line = number
            code, comment = without_comment(line) if "#" in line else (line, None)
            words = code.replace("|", " ").split()
            if number == 1:
                self._first(words, code)
                if comment:
                    self.loose.append(comment)
            elif words:
                self._line(words, code, comment)
            elif comment is not None:
                if not self.loose:
                    self.loose_after_blank = self.after_blank
                self.loose.append(comment)
            else:
                self._blank()
            self.after_blank = not words and comment is None
            if len(self.blocks.voice1) > MAX_STEPS:
                break
        self._blank()
        self.blocks.close()
        if len(self.blocks.voice1) > MAX_STEPS:
            self.problems.add("too-long", f"more than {MAX_STEPS} steps", "split the piece")
        self._settle(-1, _HEADER_END, self.header_loose)
        self._settle(self.blocks.next_index, 0, self.loose)
        self._complete()
        return self._sheet()

    def _first(self, words: list[str], code: str) -> None:
        if words[:1] != [FORMAT]:
            first = f"{FORMAT} {VERSION}"
            self.problems.add("no-sheet", f"doesn't begin with {first!r}", f"begin with {first}")
        elif words[1:] != [str(VERSION)]:
            self.problems.add(
                "version",
                f"is a sheet of version {' '.join(words[1:])[:20]!r}, not {VERSION}",
                "use a newer version of arranger",
                word_spans(code)[-1],
            )

    def _line(self, words: list[str], code: str, comment: str | None) -> None:
        word = words[0].lower()
        line = self.problems.line
        if word == "voice" and words[1:2] in (["1"], ["2"]):
            place = self.blocks.row(int(words[1]), line, words, code)
        elif word == "drums":
            place = self.blocks.row(DRUMS, line, words, code)
        elif word in ("bar", "bars"):
            place = self._bar(words, code)
        elif word in HEADER_WORDS:
            place = self._header(word, code)
        elif word == "generated":
            self.blocks.close()
            self.generated.append((line, words[1:]))
            place = (self.blocks.next_index, 0)
        else:
            self.problems.add(
                "unknown-word",
                f"a line begins with {words[0][:40]!r}",
                _line_remedy(words, in_bars=self.blocks.begun),
                word_spans(code)[0],
            )
            place = self._strange_place()
        self._settle(*place, self.loose)
        if comment is not None and not (word == "generated" and comment == GENERATED_NOTE):
            self.comments.append(Comment(*place[:1], comment, place[1], True))

    def _strange_place(self) -> tuple[int, int]:
        """Return the place of comments on a line that doesn't belong where it is."""
        current = self.blocks.current
        return (self.blocks.next_index if current is None else current, 0)

    def _blank(self) -> None:
        """Comments straight below a row belong to it, if a blank line follows them."""
        if not self.loose or self.loose_after_blank:
            return
        current = self.blocks.current
        if current is not None:
            self._settle(current, BELOW, self.loose)
        elif not self.blocks.begun:
            self.header_loose += self.loose
            self.loose.clear()

    def _settle(self, bar: int, row: int, texts: list[str]) -> None:
        if texts:
            self.comments.extend(Comment(bar, text, row) for text in texts)
            texts.clear()

    def _header(self, word: str, code: str) -> tuple[int, int]:
        if self.blocks.begun:
            remedy = "move it above the first bar"
            if word == SOUND:
                remedy += ", or write drums for a row of hits"
            self.problems.add("header-below", f"{word} stands below a bar", remedy)
            return self._strange_place()
        row = self.header.row(word)
        self._settle(-1, row, self.header_loose)
        try:
            self.header.read(word, code, self.problems.line)
        except UnknownWord as fault:
            self.problems.add(fault.code, fault.what, fault.remedy, value_span(code))
        return (-1, row)

    def _bar(self, words: list[str], code: str) -> tuple[int, int]:
        self._settle(-1, _HEADER_END, self.header_loose)
        first = self.blocks.next_index
        self.blocks.begin(self.problems.line, words, code, self.header.step)
        return (first, 0)

    def _complete(self) -> None:
        values = self.header.values
        for word in ("engine", "step"):
            if word not in values:
                what = f"has no line {word!r}"
                self.problems.add("no-" + word, what, "add it to the header", line=1)
        if "tempo" not in values and "length" not in values:
            self.problems.add("no-tempo", "has no line 'tempo'", WRITE_TEMPO, line=1)
        if not self.blocks.bars:
            self.problems.add("no-bars", "has no bar", "write one: bar 1   4/4", line=1)

    def _generated(self) -> Generated | None:
        """Return what the generated lines say; damaged ones are told of."""
        if not self.generated:
            return None
        record = Generated("".join(word for _, words in self.generated for word in words[1:]))
        strange = [line for line, words in self.generated if words[:1] != [PACKED]]
        if not strange and is_whole(record):
            return record
        self.problems.add(
            "digests",
            "the record of what was generated is damaged, so all bars count as edited",
            "undo the change to the generated lines, or take them away",
            line=(strange or [self.generated[0][0]])[0],
            severity=WARNING,
        )
        return None

    def _sheet(self) -> Sheet:
        header = self.header
        values = header.values
        blocks = self.blocks
        return Sheet(
            title=values.get("title", ""),
            engine=values.get("engine", ""),
            step_beats=header.step,
            bars=tuple(blocks.bars),
            voice1=tuple(blocks.voice1),
            voice2=tuple(blocks.voice2),
            drums=tuple(blocks.drums),
            sounds=tuple(header.sounds),
            loop_step=blocks.loop,
            source_file=values.get("source", ""),
            source_sha256=values.get("sha256", ""),
            settings=values.get("settings", ""),
            tempo=header.tempo,
            length=header.length,
            digest=values.get("digest", ""),
            generated=self._generated(),
            comments=tuple(sorted(self.comments, key=lambda c: (c.bar, c.row, c.beside))),
        )


def _line_remedy(words: Sequence[str], *, in_bars: bool) -> str:
    """Return what to do about a line that begins with no word of the sheet's."""
    remedy = "begin with bar, voice 1, voice 2, drums or #"
    begin = re.sub(r"[^a-z12]", "", "".join(words[:2]).lower())
    row = re.match(r"v[a-z]*([12])", begin)
    if row:
        return f"did you mean 'voice {row[1]}'?"
    return did_you_mean(words[0][:40].lower(), _IN_BARS if in_bars else HEADER_WORDS, remedy)
