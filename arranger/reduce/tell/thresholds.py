"""How much may differ before a note counts as changed, merged or dropped; see `arranger.reduce.tell.account`."""

from __future__ import annotations

from typing import NamedTuple

START_SHARE = 0.1
"""Of a step, by which a kept note may start elsewhere than written."""

START_SECONDS = 0.01

DRUM_SECONDS = 0.06
"""By which a kept note may start later, right after a drum on its step."""

END_SHARE = 0.5
"""Of a step, by which a kept note may end elsewhere than written."""

HEARD_SHARE = 0.5
"""Of its length, for which the pitch of a merged note must sound."""

MOST_TAKERS = 4
"""Notes that are named for a turn that never came."""


class Thresholds(NamedTuple):
    """The thresholds, as ``_account.c`` takes them."""

    start: float
    drum_seconds: float = DRUM_SECONDS
    start_seconds: float = START_SECONDS
    end_share: float = END_SHARE
    heard_share: float = HEARD_SHARE
    takers: int = MOST_TAKERS
