"""Settings for every test."""

from __future__ import annotations

from hypothesis import settings

# A busy machine is slow now and then: that is no failure of the code under test.
settings.register_profile("steady", deadline=None)
settings.load_profile("steady")
