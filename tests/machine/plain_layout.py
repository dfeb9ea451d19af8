"""A second reading of ``[export]``: a plain reader of song data, written from the description alone.

It knows the TOML table as a dictionary, as it stands in the file, and reads as a routine would: from
the header, which has to come first and to give the address of each block, from record to record.
"""

from __future__ import annotations

from typing import Any, NamedTuple

OPPOSITE = {"new1": "hold1", "new2": "hold2", "hold1": "new1", "hold2": "new2"}
HIDDEN = "hidden"
"""What a voice plays on a step on which a drum stands in its place."""
LOST = "lost"
"""What it would play after that, if it weren't told anew."""


class Song(NamedTuple):
    voice1: list[Any]
    """A step's MIDI number, None or `HIDDEN`."""
    voice2: list[Any]
    drums: list[str | None]
    loop_step: int | None


class Reader:
    def __init__(
        self, table: dict[str, Any], settings: dict[int, int], drums: list[str], content: bytes
    ) -> None:
        self.table = table
        self.settings = settings
        self.codes = table.get("drums", {}).get("codes") or {n: i for i, n in enumerate(drums, 1)}
        self.content = content
        self.header = self.record("header", 0)[0] if "header" in table else {}
        self.held: list[Any] = [None, None]
        self.song = Song([], [], [], None)

    def read(self) -> Song:
        """Return the whole song."""
        ordered = "order" in self.table
        for name, address in self.header.items():
            block = name.removesuffix("_address")
            if block != name and block != "loop":
                assert address % self.table.get("align", {}).get(block, 1) == 0
        at = self.offset(self.header["order_address" if ordered else "music_address"])
        starts: list[tuple[int, int]] = []
        loop = None
        last = False
        while not last and not self.ends(at, len(starts)):
            if self.marked("loop_mark", at):
                at += len(self.table["loop_mark"])
                loop = len(self.song.drums)
            starts.append((at, len(self.song.drums)))
            at, last = self.entry(at) if ordered else self.music(at)
        if "loop" in self.header:
            number = self.header["loop"]
            loop = None if number == self.no_loop("header", "loop") else starts[number][1]
        for kind in ("again", "end"):
            if self.marked(kind, at) or (kind == "end" and self.field(kind, "loop_address")):
                address = self.record(kind, at)[0].get("loop_address")
                if address not in (None, self.no_loop(kind, "loop_address")):
                    loop = dict(starts)[self.offset(address)]
                break
        return self.song._replace(loop_step=loop)

    def ends(self, at: int, records: int) -> bool:
        """Return whether the list of the piece ends before what stands at an offset."""
        if self.marked("end", at) or self.marked("again", at):
            return True
        counts = ("entries",) if "order" in self.table else ("records", "steps")
        told = {"entries": records, "records": records, "steps": len(self.song.drums)}
        return any(self.header.get(each) == told[each] for each in counts)

    def entry(self, at: int) -> tuple[int, bool]:
        """Read an entry of the order list, and its pattern."""
        values, end = self.record("order", at)
        if "pattern_list" in self.table:
            listed = self.offset(self.header["pattern_list_address"])
            size = self.record("pattern_list", listed)[1] - listed
            values |= self.record("pattern_list", listed + size * values["pattern"])[0]
        assert values["pattern_address"] % self.table.get("align", {}).get("pattern", 1) == 0
        music = self.offset(values["pattern_address"])
        begun = len(self.song.drums)
        steps = values.get("steps", self.table.get("pattern_steps"))
        records = 0
        last = False
        while not (
            last
            or self.marked("pattern_end", music)
            or len(self.song.drums) - begun == steps
            or records == values.get("records")
        ):
            music, last = self.music(music)
            records += 1
        return end, bool(values.get("last", 0))

    def no_loop(self, kind: str, name: str) -> int:
        bits = self.field(kind, name).get("bits", self.table.get("bits", 8))
        return int(self.table.get("no_loop", (1 << bits) - 1))

    def record(self, kind: str, at: int) -> tuple[dict[str, int], int]:
        """Return what a record says, and where it ends."""
        values: dict[str, int] = {}
        waiting: list[tuple[str, int]] = []
        for field in self.table[kind]:
            if isinstance(field, int):
                field = {"number": field}
            elif isinstance(field, str):
                field = {"value": field}
            when = field.get("when")
            if when is not None:
                there = values[when] if when in values else 1 - values[OPPOSITE[when]]
                if not there:
                    continue
            name = field.get("value", "number")
            waiting.append((name, field.get("bits", self.table.get("bits", 8))))
            bits = sum(width for _, width in waiting)
            if bits % 8:
                continue
            order = {"low-first": "little", "high-first": "big"}
            number = int.from_bytes(
                self.content[at : at + bits // 8],
                order[self.table.get("byte_order", "low-first")],  # type: ignore[arg-type]
            )
            at += bits // 8
            for name, width in reversed(waiting):
                values[name] = number & ((1 << width) - 1)
                number >>= width
            waiting = []
        return values, at

    def field(self, kind: str, name: str) -> dict[str, int]:
        fields = [f for f in self.table.get(kind, []) if isinstance(f, dict)]
        return next((f for f in fields if f.get("value") == name), {})

    def plain(self, kind: str, name: str, number: int) -> int:
        """Undo times and add."""
        field = self.field(kind, name)
        value, left = divmod(number - field.get("add", 0), field.get("times", 1))
        assert left == 0
        return value

    def offset(self, address: int) -> int:
        return address - self.table.get("base", 0)

    def marked(self, kind: str, at: int) -> bool:
        mark = bytes(n for n in self.table.get(kind, []) if isinstance(n, int))
        return bool(mark) and self.content.startswith(mark, at)

    def tone(self, kind: str, voice: int, number: int) -> Any:
        tones = self.table.get("tones", {})
        if number == tones.get("hold", -1):
            return self.held[voice]
        if number == tones.get("rest", 0):
            return None
        code = self.plain(kind, f"voice{voice + 1}", number)
        if tones.get("code", "setting") == "midi":
            return code
        if tones.get("code", "setting") == "index":
            place = code - tones.get("first", 1)
            if "pitches" not in self.table:
                return list(self.settings)[place]
            table = self.offset(self.header["pitches_address"])
            size = self.record("pitches", table)[1] - table
            entry = self.record("pitches", table + place * size)[0]
            return entry["midi"] if "midi" in entry else self.midi(entry["setting"])
        return self.midi(code)

    def midi(self, setting: int) -> int:
        return next(midi for midi, each in self.settings.items() if each == setting)

    def music(self, at: int) -> tuple[int, bool]:
        """Read a record of music; return where it ends, and whether it says that it is the last."""
        kind = "step" if "step" in self.table else "event"
        values, end = self.record(kind, at)
        place = self.table.get("drums", {}).get("place", "drum")
        drum = None
        code = values.get(place)
        for name, own in self.codes.items():
            own = [own] if isinstance(own, int) else own
            if code == own[0] and (place == "drum" or f"voice{place[-1]}" in values):
                drum = name
                told = [values[key] for key in ("drum2", "drum3", "drum4") if key in values]
                assert told == [*own[1:], 0, 0, 0][: len(told)]
        now: list[Any] = []
        for voice in (0, 1):
            name = f"voice{voice + 1}"
            if drum is not None and place == name:
                now.append(HIDDEN)
            else:
                now.append(
                    self.tone(kind, voice, values[name]) if name in values else self.held[voice]
                )
            fresh = values.get(f"new{voice + 1}", 1 - values.get(f"hold{voice + 1}", 0))
            assert fresh or now[voice] == self.held[voice]
            if f"rest{voice + 1}" in values and now[voice] != HIDDEN:
                assert values[f"rest{voice + 1}"] == (now[voice] is None)
        length = self.plain(kind, "length", values["length"]) if "length" in values else 1
        self.held = [LOST if tone == HIDDEN else tone for tone in now]
        self.song.voice1.extend([now[0], *[self.held[0]] * (length - 1)])
        self.song.voice2.extend([now[1], *[self.held[1]] * (length - 1)])
        self.song.drums.extend([drum, *[None] * (length - 1)])
        if "hit" in values:
            assert values["hit"] == (drum is not None)
        return end, bool(values.get("last", 0))
