"""What all tests share."""

from __future__ import annotations

from hypothesis import settings

# A busy machine is no defect: tests measure what comes out, never how long it takes.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
