"""The dyno sessions of the demonstration archive, in the order in which the shop ran them."""

from __future__ import annotations

from tests.demo.marine_sessions import DIESEL_FOUR, HYDROPLANE, LAUNCH, OFFSHORE
from tests.demo.road_sessions import CLIMB, E85_FOUR, METHANOL_SINGLE, ROADSTER, SIDECAR, TRUCK
from tests.demo.turbo_sessions import CIRCUIT_TURBO, RALLY_TURBO
from tests.demo.v8_sessions import CIRCUIT, DRAG, DRAG_AGAIN, DRAG_FASTER, OVAL, PICKUP, SKI_BOAT, STREET

SESSIONS = (
    CLIMB, SIDECAR, HYDROPLANE, STREET, METHANOL_SINGLE, SKI_BOAT, DIESEL_FOUR, OVAL, OFFSHORE, DRAG, DRAG_AGAIN,
    CIRCUIT, CIRCUIT_TURBO, E85_FOUR, DRAG_FASTER, TRUCK, RALLY_TURBO, PICKUP, LAUNCH, ROADSTER,
)  # fmt: skip
