"""What was weighed in a bar, as text for a terminal and as JSON for scripts."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from arranger.bars import beside
from arranger.errors import one_line
from arranger.reduce.choose.costs import TERMS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.reduce.tell.weighing import BarWeighing


_MEANINGS = {**TERMS, "bytes": "a voice changes, and the song may take so many bytes only"}


def weighing_text(found: BarWeighing) -> str:
    """Return the choice made and the others, a few lines each."""
    return "\n".join(_lines(found))


def _lines(found: BarWeighing) -> Iterator[str]:
    here = beside(found.bar, found.song_bar)
    yield f"bar {found.bar}{here}"
    yield f"  {'in the song, ' if here else ''}{found.texture}"
    yield from (f"  {one_line(line)}" for line in (*found.held, *found.turns))
    yield f"  costs {sum(found.terms.values()):.2f} beats of the tune: {_list(found.terms)}"
    if not found.others:
        yield "nothing else could sound in this bar"
    for number, other in enumerate(found.others, start=1):
        yield f"{'runner-up' if number == 1 else f'choice {number + 1}'}: {other.cost:.2f} more"
        yield from (f"  {one_line(line)}" for line in other.differs)
        yield f"  {_list(other.terms, signed=True)}"
    told = set(found.terms).union(*(other.terms for other in found.others))
    yield "where"
    width = max((len(term) for term in told), default=0)
    yield from (f"  {term:{width}}  {what}" for term, what in _MEANINGS.items() if term in told)


def _list(terms: Mapping[str, float], *, signed: bool = False) -> str:
    sign = "+" if signed else ""
    return ", ".join(f"{term} {cost:{sign}.2f}" for term, cost in terms.items()) or "nothing"


def weighing_json(found: BarWeighing) -> str:
    """Return the same as one JSON object; costs in beats of the tune."""
    return json.dumps(
        {
            "bar": found.bar,
            "texture": found.texture,
            "choice": {"held": found.held, "turns": found.turns, "terms": _rounded(found.terms)},
            "others": [
                {
                    "differs": other.differs,
                    "more": round(other.cost, 4),
                    "terms": _rounded(other.terms),
                }
                for other in found.others
            ],
            "song_bar": found.bar if found.song_bar is None else found.song_bar,
        },
        ensure_ascii=False,
        indent=1,
    )


def _rounded(terms: Mapping[str, float]) -> dict[str, float]:
    return {term: round(cost, 4) for term, cost in terms.items()}
