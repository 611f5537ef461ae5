"""What one build adds to the history of its engine: days, running, readings, condition, services; nothing private.

The values are msgspec structures, written as arrays: the index of an archive holds some forty readings of each build.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

import msgspec

from builder.archive.engine_dyno import DynoState

_MAX_KEY_LENGTH = 80


class EngineReading(msgspec.Struct, frozen=True, array_like=True, gc=False):
    """One reading at every position, SI: as built and as the engine came back.

    ``path`` is that of the field; an entry of a list without fields of its own has its name in place of its number.
    ``unit`` is the unit that was written, ``step`` its last digit [SI]; the uncertainties are standard ones.
    ``minimum`` and ``maximum`` are what the record allows.
    """

    path: str
    dimension: str
    unit: str
    step: float
    axis: str | None = None
    built: tuple[float, ...] = ()
    returned: tuple[float, ...] = ()
    built_uncertainty: float = 0.0
    returned_uncertainty: float = 0.0
    minimum: float | None = None
    maximum: float | None = None
    is_uncertainty_stated: bool = False
    """Whether a gauge or a resolution is recorded; otherwise the uncertainty is that of the last digit alone."""


class EngineCondition(msgspec.Struct, frozen=True, array_like=True):
    """The condition of a part as the engine came back, and what was done with it."""

    part: str
    at: tuple[str, ...] = ()
    grade: str | None = None
    found: str | None = None
    outcome: str | None = None


class EngineService(msgspec.Struct, frozen=True, array_like=True):
    """One service after delivery: readings by cylinder (shares 0 to 1, pressures Pa), elements in the oil [ppm]."""

    when: str
    what: str
    hours: float | None = None
    distance: float | None = None
    leak_down: tuple[float, ...] = ()
    cranking_compression: tuple[float, ...] = ()
    oil_pressure: float | None = None
    plug_color: tuple[str, ...] = ()
    hours_on_oil: float | None = None
    elements: Mapping[str, float] = msgspec.field(default_factory=dict)
    note: str | None = None


class EngineEvent(msgspec.Struct, frozen=True, array_like=True):
    """Something that happened after delivery."""

    when: str
    kind: str
    what: str | None = None
    hours: float | None = None
    distance: float | None = None


class EngineBuild(msgspec.Struct, frozen=True, array_like=True):
    """One build in the life of its engine. Days are ISO 8601, ``distance`` is in meters.

    ``previous`` is the build before it where the record names it; ``hours``, ``distance`` and ``starts`` are those
    since then, ``reason`` and ``reason_text`` say why the engine came back.
    """

    number: str
    previous: str | None = None
    started: str | None = None
    finished: str | None = None
    delivered: str | None = None
    is_open: bool = False
    """Whether the engine is still in work."""
    reason: str | None = None
    reason_text: str | None = None
    hours: float | None = None
    hours_step: float = 1.0
    distance: float | None = None
    distance_step: float = 0.0
    distance_unit: str = "km"
    starts: int | None = None
    readings: tuple[EngineReading, ...] = ()
    condition: tuple[EngineCondition, ...] = ()
    services: tuple[EngineService, ...] = ()
    events: tuple[EngineEvent, ...] = ()
    before: DynoState | None = None
    """The engine on the dyno before the work."""
    as_delivered: DynoState | None = None
    """The engine on the dyno as delivered."""

    @property
    def day(self) -> str:
        """Return the day that the build counts by; without any it is the last."""
        return self.started or self.finished or self.delivered or "9999"

    @property
    def key(self) -> str:
        """Return what the engine is known by in addresses; `E-041` and `e 041` are the same engine."""
        return engine_key(self.number)


def engine_key(number: str) -> str:
    """Return an engine's number as a part of an address: small letters, digits and hyphens; empty without any.

    A very long one is cut, with a hash of the whole at its end.
    """
    key = re.sub(r"[^a-z0-9]+", "-", number.lower()).strip("-")
    if len(key) <= _MAX_KEY_LENGTH:
        return key
    return f"{key[: _MAX_KEY_LENGTH - 9].rstrip('-')}-{hashlib.sha256(key.encode()).hexdigest()[:8]}"
