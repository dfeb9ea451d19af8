"""What the schema alone can't say of a table ``[export]``; see `arranger.engine.layout`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.engine.layout import (
    BLOCKS,
    MEANT,
    drum_numbers,
    drum_parameter,
    tone_fault,
    tone_numbers,
)
from arranger.engine.profile_check import ProfileFault
from arranger.errors import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.engine.layout import Layout, LayoutField
    from arranger.engine.model import Pitch
    from arranger.engine.profile import Profile
    from arranger.engine.profile_check import Path

_OPPOSITES = {"new1": "hold1", "new2": "hold2", "hold1": "new1", "hold2": "new2"}
_ONLY_PATTERNS = ("pattern_list", "pattern_end", "pattern_steps")


def layout_faults(profile: Profile, pitches: Mapping[int, Pitch]) -> Iterator[ProfileFault]:
    """Yield what contradicts itself in the ``[export]`` of a profile, or can't hold its pitches.

    Takes the pitches that the engine plays.
    """
    layout = profile.export
    if layout is None:
        return
    for kind in MEANT:
        yield from _record_faults(layout, kind)
    yield from _kind_faults(layout)
    yield from _block_faults(layout)
    yield from _tone_faults(layout, profile, pitches)
    yield from _drum_faults(layout, profile)


def _kind_faults(layout: Layout) -> Iterator[ProfileFault]:
    here: Path = ("export",)
    if bool(layout.step) == bool(layout.event):
        yield ProfileFault(
            (*here, "event") if layout.step else here,
            "export needs a record step, or a record event, not both",
            'step = ["voice1", "voice2"] is a byte for each voice of every step',
        )
    values = [field.value for field in layout.music]
    kind = "step" if layout.step else "event"
    for value in ("voice1", "voice2") if values else ():
        if value not in values:
            yield ProfileFault((*here, kind), f"no field tells {value}", f'add "{value}"')
    if layout.event and "length" not in values:
        yield ProfileFault(
            (*here, kind), "no field tells how many steps an event lasts", 'add "length"'
        )
    for key in () if layout.order else _ONLY_PATTERNS:
        if getattr(layout, key):
            yield ProfileFault(
                (*here, key), "there are no patterns without an order list", "add order"
            )
    if layout.order and not {"pattern", "pattern_address"} & {f.value for f in layout.order}:
        yield ProfileFault((*here, "order"), "no field tells the pattern", 'add "pattern"')


def _record_faults(layout: Layout, kind: str) -> Iterator[ProfileFault]:
    here: Path = ("export", kind)
    filled = 0
    known: set[str] = set()
    for place, field in enumerate(layout.record(kind)):
        yield from _field_faults(layout, field, kind, (*here, place))
        whole = layout.width(field) % 8 == 0 and filled % 8 == 0
        if field.when and not whole:
            yield ProfileFault(
                (*here, place),
                f"a field that may be missing, {field.value}, must be whole bytes of its own",
                "let it follow a whole byte",
            )
        if field.when and not {field.when, _OPPOSITES.get(field.when, "")} & known:
            yield ProfileFault(
                (*here, place),
                f"a routine can't know whether {field.value} is there",
                f'add a field "{field.when}" before it',
            )
        known.add(field.value)
        filled += layout.width(field)
    if filled % 8:
        yield ProfileFault(
            here,
            f"{filled % 8} bits are left over at the end of {kind}",
            f"add {{ number = 0, bits = {-filled % 8} }}",
        )


def _field_faults(
    layout: Layout, field: LayoutField, kind: str, here: Path
) -> Iterator[ProfileFault]:
    meant = sorted({"number", *MEANT[kind]})
    if field.value not in meant:
        hint = did_you_mean(field.value, meant, f"known here: {', '.join(meant)}")
        yield ProfileFault(here, f"{kind} can't tell {field.value!r}", hint)
    if field.value == "number" and (field.times, field.add, field.most) != (1, 0, 0):
        yield ProfileFault(here, "a number stands as it is", "leave times, add and most out")
    if field.value != "number" and field.number:
        yield ProfileFault(here, f"{field.value} and a number contradict each other", "keep one")
    if field.most > (1 << layout.width(field)) - 1:
        yield ProfileFault(
            here, f"{field.most} needs more than {layout.width(field)} bits", "add bits"
        )
    if field.number > layout.limit(field):
        yield ProfileFault(
            here, f"{field.number} needs more than {layout.width(field)} bits", "add bits"
        )
    if field.when and kind not in ("step", "event"):
        yield ProfileFault(here, f"every {kind} has the same fields", "leave when out")
    if field.value == "length" and (field.times < 1 or field.times + field.add < 0):
        yield ProfileFault(
            here, "a length of 1 can't be written", "times * 1 + add must be 0 or more"
        )
    elif field.value == "length" and field.times + field.add > layout.limit(field):
        yield ProfileFault(here, "a length of 1 can't be written", "add bits")


def _block_faults(layout: Layout) -> Iterator[ProfileFault]:
    here: Path = ("export", "blocks")
    if len(set(layout.blocks)) < len(layout.blocks):
        yield ProfileFault(here, "a block stands twice in the list", "take one out")
    for block in BLOCKS:
        if getattr(layout, block) and block not in layout.blocks:
            yield ProfileFault(here, f"{block} has no place in the list", "add it")


def _tone_faults(
    layout: Layout, profile: Profile, pitches: Mapping[int, Pitch]
) -> Iterator[ProfileFault]:
    here: Path = ("export", "tones", "code")
    if profile.method == "frequencies" and layout.tones.code == "setting":
        yield ProfileFault(
            here, "of a table of frequencies a routine has no settings", 'code = "index"'
        )
    # Only a song says how many pitches a table of those that occur has.
    counted = {} if layout.pitches and layout.tones.code == "index" else pitches
    drums = drum_numbers(layout, (drum.name for drum in profile.drum))
    if fault := tone_fault(
        layout, tone_numbers(layout, {m: pitch.setting for m, pitch in counted.items()}), drums
    ):
        place, what, remedy = fault
        yield ProfileFault(("export", "step" if layout.step else "event", place), what, remedy)


def _drum_faults(layout: Layout, profile: Profile) -> Iterator[ProfileFault]:
    here: Path = ("export", "drums")
    drums = layout.drums
    names = [drum.name for drum in profile.drum]
    for name in drums.codes:
        if name not in names:
            hint = did_you_mean(name, names, "name one of the engine's drums")
            yield ProfileFault((*here, "codes", name), f"the engine has no drum {name!r}", hint)
    if drums.place != "drum" and not profile.drum_takes_step:
        yield ProfileFault(
            (*here, "place"),
            f"a drum in place of {drums.place} leaves open what sounds after it",
            "give it a field of its own, or say drum_takes_step = true",
        )
    codes = drum_numbers(layout, names)
    for name in names if drums.other == "error" else ():
        if name not in codes:
            what = "no field tells drums" if not codes else f"the drum {name!r} has no code"
            yield ProfileFault(here, what, 'give it one, or say other = "silent"')
            return
    for field in layout.music:
        which = drum_parameter(layout, field)
        if which is None:
            continue
        for name, numbers in codes.items():
            number = numbers[which] if which < len(numbers) else 0
            here = ("export", "drums", "codes", name) if drums.codes else ("export", "drums")
            if number > layout.limit(field):
                most = f"{field.value} takes 0 to {layout.limit(field):,}"
                yield ProfileFault(here, f"{name} would be {number:,}", most)
            elif field.value == "drum" and number == drums.none and not field.when:
                yield ProfileFault(
                    here, f"{name} would be {number:,}, as no drum is", "change one of the codes"
                )
