"""The dyno sessions of the demonstration archive, in the order in which the shop ran them."""

from __future__ import annotations

from demo_afloat import DIESEL_FOUR, HYDROPLANE, LAUNCH, OFFSHORE
from demo_ashore import CLIMB, E85_FOUR, GENERATOR, METHANOL_SINGLE, ROADSTER, SIDECAR, TRUCK

SESSIONS = (
    CLIMB, SIDECAR, HYDROPLANE, METHANOL_SINGLE, DIESEL_FOUR, OFFSHORE, GENERATOR, E85_FOUR, TRUCK, LAUNCH, ROADSTER,
)  # fmt: skip
