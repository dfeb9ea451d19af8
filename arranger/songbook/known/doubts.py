"""What a conversion may have taken wrongly, so that somebody looks: a word and a sentence each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import one_line, shortened
from arranger.report.summaries.summary import summary
from arranger.song.midi.held_pedals import STAYS_DOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.conversion import Conversion
    from arranger.reduce.worth.weights import PartRole

Doubt = tuple[str, str]
"""A word of `WORDS` and a sentence on this song."""

WORDS = {
    "beat": "the beat was found by ear and isn't sure",
    "metre": "it isn't sure where bars are, or the music has them elsewhere than the file",
    "pedal": "a pedal stays down for long",
    "parts": "two parts are nearly as likely to be the tune, or the bass",
}
"""What each word means."""

CLOSE = 1.0
"""By how much less may speak for another part as tune or bass, in the weights of evidence for roles: as
much as one strong sign. Our own judgement, no source."""
_NAME = 30


def doubts_of(conversion: Conversion) -> tuple[Doubt, ...]:
    """Return what may be wrong in a conversion, in the order of `WORDS`."""
    return tuple(_doubts(conversion))


def _doubts(conversion: Conversion) -> Iterator[Doubt]:
    told = summary(conversion).doubts  # as the report tells them
    for about, word in (("beat", "beat"), ("bars", "metre")):
        if said := [str(doubt) for doubt in told if doubt.about == about]:
            yield word, one_line("; ".join(said))
    for remark in conversion.song.remarks:
        if STAYS_DOWN in remark:
            yield "pedal", one_line(remark)
            break
    parts = [_close(conversion, role) for role in conversion.reduction.roles]
    if any(parts):
        yield "parts", "; ".join(filter(None, parts))


def _close(conversion: Conversion, role: PartRole) -> str:
    """Return which other part might have the role of one, the tune or the bass, or nothing."""
    scores = {"tune": "tune_score", "bass": "bass_score"}
    if role.role not in scores or not role.evidence:
        return ""
    score = scores[role.role]
    others = [
        other
        for other in conversion.reduction.roles
        if other.role in {"harmony", "bass"} and other.part != role.part and other.evidence
    ]
    rival = max(others, key=lambda other: getattr(other, score), default=None)
    if rival is None or getattr(role, score) - getattr(rival, score) >= CLOSE:
        return ""
    name, other = (_named(conversion, each.part) for each in (role, rival))
    return f"{name} was taken for the {role.role}, but {other} is nearly as likely"


def _named(conversion: Conversion, part: int) -> str:
    name = shortened(one_line(conversion.song.parts[part].name), _NAME)
    return f"part {part + 1} '{name}'" if name else f"part {part + 1}"
