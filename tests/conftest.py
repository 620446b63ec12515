"""For all tests: nothing here asserts how long something took, so Hypothesis has no deadline either."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
