"""Why songs were converted or left, told together: counts, and names where they are few."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from arranger.errors import one_line
from arranger.songbook.known.why import CODES
from arranger.songbook.planned.song_plan import FEW

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from arranger.songbook.planned.song_plan import Planned

MOST_REMARKS = 20

MOST_SETTINGS = 12
"""Changes of settings that are told one by one."""


def why_lines(songs: Iterable[tuple[str, tuple[tuple[str, str], ...]]]) -> Iterator[str]:
    """Yield a line for each reason that some songs have.

    ``songs``: the path of each and its reasons: codes of `CODES` with their sentences.
    """
    groups: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for song, why in songs:
        for code, sentence in why:
            groups.setdefault((code, sentence if code == "setting" else ""), []).append(
                (song, sentence)
            )
    places = {code: place for place, code in enumerate(CODES)}
    ordered = sorted(groups.items(), key=lambda group: (places[group[0][0]], -len(group[1])))
    for (code, _), found in _without_too_many(ordered):
        sentences = {sentence for _, sentence in found}
        told = sentences.pop() if len(sentences) == 1 else CODES[code]
        names = sorted({song for song, _ in found})
        listed = f": {', '.join(map(one_line, names))}" if len(names) <= FEW else ""
        yield f"{len(names):>7} {one_line(told)}{listed}"


def _without_too_many(
    groups: list[tuple[tuple[str, str], list[tuple[str, str]]]],
) -> Iterator[tuple[tuple[str, str], list[tuple[str, str]]]]:
    """Yield groups, with the rarer changes of settings as one."""
    settings = [group for group in groups if group[0][0] == "setting"]
    rest = settings[MOST_SETTINGS:]
    for group in groups:
        if group not in rest:
            yield group
        elif group is rest[0]:
            yield ("setting", ""), [each for _, found in rest for each in found]


def plan_text(planned: tuple[Planned, ...], remarks: tuple[str, ...]) -> str:
    """Return what a run would do, for a person, without a final line feed."""
    leave = sum(each.is_left for each in planned)
    lines = [
        f"{len(planned)} songs: {len(planned) - leave} to convert, {leave} to leave; nothing is written",
        *why_lines((each.job.relative, each.why) for each in planned),
        *map(one_line, remarks[:MOST_REMARKS]),
    ]
    if len(remarks) > MOST_REMARKS:
        lines.append(f"and {len(remarks) - MOST_REMARKS} more remarks, which --json tells")
    return "\n".join(lines)


def plan_values(planned: tuple[Planned, ...], remarks: tuple[str, ...]) -> dict[str, Any]:
    """Return what a run would do, for a script."""
    leave = sum(each.is_left for each in planned)
    return {
        "songs": len(planned),
        "to_convert": len(planned) - leave,
        "to_leave": leave,
        "why": why_counts(each.why for each in planned),
        "plan": [
            {
                "song": each.job.relative,
                "convert": not each.is_left,
                "why": [{"code": code, "sentence": sentence} for code, sentence in each.why],
            }
            for each in planned
        ],
        "remarks": list(remarks),
    }


def why_counts(songs: Iterable[tuple[tuple[str, str], ...]]) -> dict[str, int]:
    """Return how many songs have each reason, by code."""
    counts = Counter(code for why in songs for code in {code for code, _ in why})
    return {code: counts[code] for code in CODES if counts[code]}
