"""The cost table: what each musical loss weighs, in one place.

The unit is **one beat of the tune**: leaving out a tune note that lasts one beat costs about 1
(half for its attack, half for its sound). Everything else is a share of that.

A note's worth is ``salience * its salience + tune * its tune weight + bass * its bass weight``, and
at least `LEAST_WORTH`, so that a free voice always takes a note rather than stay silent. Leaving it
out costs ``worth * attack`` once, and ``worth * sustain`` for every beat that it sounds, of which a
share (``ring``) counts from where its key is up and only a pedal holds it. While its pitch is heard
from another note only what it has of tune and bass is lost, and while another octave of it is heard
a share of the rest (``octave``) is not.

Why voices need to change only where a note starts or ends or its key comes up, or beside a step that
a drum takes (and, where chords are broken, on the steps on which they take turns): between two such
places every step costs the same, so the cost of a path that changes in between is linear in the
place of the change and moving it to one end never costs more, provided that

- breaking a note off right after its attack costs at least what its attack gained (``break`` >= 1);
  it costs the same for every step until its key comes up, and nothing from there on,
- going by way of a third note or a rest is never cheaper than going straight: leaps, linear up to a
  limit, and ``line`` are metrics, and a voice comes back from a rest at ``entry`` >= the dearest leap
  plus ``line``,
- what a quick leap to the start of a note costs more (``split``), whatever it depends on, is never
  more than ``late``: a change between two such places enters a note late, and what is saved with it
  pays for any quick leap that takes its place,
- a start costs no more than it is worth: ``wrong-voice`` and ``tied`` are shares, together at most 1.

A tone that isn't the tune is worth less than nothing to voice 1 in a **breath** of the tune that its
part doesn't answer (``scrap``; `arranger.reduce.choose.breaths`). Every step pays an equal share.

A repetition (the same pitch ends where the note starts) costs ``gap`` or ``tied`` in whichever voice
it is and whether or not the earlier note is held, else the voices would trade places to dodge the
price: both sound alike, so the ear hears one long tone all the same. Where a drum falls on its start
it costs nothing; where the engine can rest for less than a step it costs ``gap``.

`costs_from` refuses overrides that break these bounds, and `arranger.reduce.choose.rates` rounds so
that they hold in whole numbers. Tests compare with brute force over steps, to the last unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from math import ceil, isfinite
from typing import TYPE_CHECKING, Any

from arranger.errors import UsageError, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Mapping

LEAST_WORTH = 0.15
"""Of any note that can sound at all."""

LEAP_LIMIT = 12
"""Semitones; a wider leap costs no more."""

STREAM = 2
"""Semitones; a line that moves by no more stays one however fast it is."""

SPLIT_SECONDS = (0.2, 0.1)
"""From tone to tone, over which no leap and under which every wider one splits a line in two for the
ear (L. van Noorden, "Temporal coherence in the perception of tone sequences", 1975)."""


def _term(default: float, meaning: str) -> Any:
    return field(default=default, metadata={"meaning": meaning})


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """The terms. Each may be overridden by name (``break_off`` is spelled ``break`` outside)."""

    attack: float = _term(0.5, "the start of a note is not heard, times its worth")
    sustain: float = _term(0.5, "a beat of a note is not heard, times its worth")
    salience: float = _term(0.2, "worth of a note as audible as most")
    tune: float = _term(1.0, "worth added for the tune")
    bass: float = _term(0.7, "worth added for the bass line")
    ring: float = _term(0.25, "share of a beat of a note that counts once only a pedal holds it")
    octave: float = _term(0.5, "share of a note that is heard when its octave sounds")
    break_off: float = _term(
        1.0, "a note is broken off, times its attack and the share that is left"
    )
    late: float = _term(0.05, "a note is entered after its start")
    entry: float = _term(0.14, "a voice starts again after silence")
    leap: float = _term(0.0015, "a voice moves by a semitone, up to an octave")
    split: float = _term(0.004, "a semitone of a leap so quick that the ear hears two lines")
    line: float = _term(0.08, "a voice goes over to another part, or into or out of the tune")
    scrap: float = _term(
        1.5, "voice 1 has a tone of a part that doesn't answer the tune's breath, times its worth"
    )
    gap: float = _term(0.02, "a note is parted from its repetition, or ends a step early for it")
    tied: float = _term(0.4, "a repetition is not heard as one, times its attack")
    crossing: float = _term(0.02, "voice 1 lies below voice 2 for a beat, unless roles say so")
    doubling: float = _term(0.02, "both voices have a pitch class in two octaves for a beat")
    unison: float = _term(1.0, "both voices have the same pitch for a beat: they may cancel out")
    wrong_voice: float = _term(
        0.3, "the tune starts in voice 2 or the bass in voice 1, times what that is worth"
    )
    drum: float = _term(0.9, "a loud kick on a first beat is left out; others by their weight")
    turn: float = _term(1.5, "a broken chord misses the note whose turn it is for a beat")
    delay: float = _term(
        0.15, "a drum takes the first step of a note that goes on, times its attack"
    )


def spelled(name: str) -> str:
    """Return the name that users write for a field of `Costs`."""
    return {"break_off": "break"}.get(name, name).replace("_", "-")


TERMS: dict[str, str] = {spelled(entry.name): entry.metadata["meaning"] for entry in fields(Costs)}
"""Every term by the name that users write, with its meaning."""


def term_named(name: str) -> str:
    """Return the term that a user means, as in `TERMS`.

    Raises `UsageError` if there is none; offers the nearest, or all.
    """
    term = name.strip().lower().replace("_", "-")
    if term not in TERMS:
        remedy = did_you_mean(term, TERMS, f"the terms are {', '.join(TERMS)}")
        raise UsageError(f"there is no cost called {name!r}", remedy=remedy)
    return term


def costs_from(overrides: Mapping[str, float]) -> Costs:
    """Return the cost table with some terms replaced.

    Raises `UsageError` if a term doesn't exist, is negative or not finite, or breaks a bound of
    this module.
    """
    names = {spelled(entry.name): entry.name for entry in fields(Costs)}
    given: dict[str, float] = {}
    for term, weight in overrides.items():
        if not (isfinite(weight) and 0 <= weight <= 1000):
            raise UsageError(f"the cost {term!r} must be between 0 and 1000, not {weight:g}")
        given[names[term_named(term)]] = float(weight)
    costs = Costs(**given)
    _check_bounds(costs)
    return costs


def _check_bounds(costs: Costs) -> None:
    quick = costs.split * (LEAP_LIMIT - STREAM)
    least_entry = costs.leap * LEAP_LIMIT + costs.line + quick
    slack = 1e-12
    if costs.break_off < 1:
        raise UsageError("the cost 'break' must be at least 1", remedy="see `attack` instead")
    if costs.entry < least_entry - slack:
        raise UsageError(
            f"the cost 'entry' ({costs.entry:g}) must be at least {LEAP_LIMIT} times 'leap' plus "
            f"{LEAP_LIMIT - STREAM} times 'split' plus 'line' ({least_entry:g})",
            remedy=f"add --cost entry={ceil(least_entry * 1000) / 1000}",
        )
    if quick > costs.late + slack:
        raise UsageError(
            f"the cost 'late' ({costs.late:g}) must be at least {LEAP_LIMIT - STREAM} times 'split' "
            f"({quick:g})",
            remedy=f"add --cost late={ceil(quick * 1000) / 1000}",
        )
    if costs.tied + costs.wrong_voice > 1:
        raise UsageError("the costs 'tied' and 'wrong-voice' are shares, together at most 1")
    if costs.gap > costs.attack * LEAST_WORTH:
        raise UsageError(
            f"the cost 'gap' ({costs.gap:g}) must be at most {LEAST_WORTH:g} times 'attack' "
            f"({costs.attack * LEAST_WORTH:g}), what the softest start is worth"
        )
    if max(costs.delay, costs.octave, costs.ring) > 1:
        raise UsageError("the costs 'delay', 'octave' and 'ring' are shares, at most 1")
