"""The dyno sessions of the demonstration archive, in the order in which the shop ran them."""

from __future__ import annotations

from tests.demo.marine_sessions import DIESEL_FOUR, HYDROPLANE, LAUNCH, OFFSHORE
from tests.demo.road_sessions import CLIMB, E85_FOUR, GENERATOR, METHANOL_SINGLE, ROADSTER, SIDECAR, TRUCK

SESSIONS = (
    CLIMB, SIDECAR, HYDROPLANE, METHANOL_SINGLE, DIESEL_FOUR, OFFSHORE, GENERATOR, E85_FOUR, TRUCK, LAUNCH, ROADSTER,
)  # fmt: skip
