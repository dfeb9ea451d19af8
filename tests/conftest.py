"""What all tests share."""

from __future__ import annotations

from hypothesis import settings

# A busy machine is no defect: tests measure what comes out, never how long it takes. The same commit
# gives the same result; `--hypothesis-profile=search` looks in new places each time.
settings.register_profile("fixed", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, derandomize=False)
settings.load_profile("fixed")
