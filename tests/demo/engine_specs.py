"""The engines and the pulls of the demonstration archive, as numbers that the engine on paper can run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.demo import engine_model
from tests.demo.engine_model import Array, Engine, Noise, Tune, Weather
from tests.demo.logs import Dialect

INCH_OF_MERCURY = 3386.389


@dataclass(frozen=True)
class PullSpec:
    """One pull: from, to and step in rpm, the air, and what was changed on the engine."""

    file: str
    start: float
    stop: float
    step: float
    weather: Weather
    tune: Tune = field(default_factory=Tune)
    warm: float = 0.0
    to: Callable[[Weather], float] | None = None
    """The standard that the dyno has corrected the log to already."""
    sweep: Sweep | None = None


@dataclass(frozen=True)
class Sweep:
    """A time-series log: how often it is written, how fast the engine is let up, what inertia hangs on it."""

    every: float
    rise: float
    """rpm per second."""
    inertia: float
    """kg m2; what it takes to speed up is missing from the torque that the dyno shows."""


@dataclass(frozen=True)
class Session:
    """One build's dyno session."""

    slug: str
    engine: Engine
    dialect: Dialect
    pulls: tuple[PullSpec, ...]
    noise: Noise = field(default_factory=Noise)

    def logs(self) -> dict[str, bytes]:
        """Every log of the session by its path below builds/."""
        return {f"{self.slug}/dyno/{pull.file}": self.dialect.encode(self.channels(pull)) for pull in self.pulls}

    def channels(self, pull: PullSpec) -> dict[str, Array]:
        """One pull's channels in SI, as the log shows them."""
        random = np.random.RandomState(_seed(f"{self.slug}/{pull.file}"))
        if pull.sweep is None:
            nominal = np.arange(pull.start, pull.stop + pull.step / 2, pull.step, dtype=np.float64)
            rpm = nominal + np.round(random.uniform(-4, 4, nominal.size))
            time = None
        else:
            seconds = (pull.stop - pull.start) / pull.sweep.rise
            time = np.arange(0.0, seconds + pull.sweep.every / 2, pull.sweep.every)
            rpm = pull.start + pull.sweep.rise * time + random.normal(0, 4.0, time.size)
        channels = engine_model.run(self.engine, rpm, pull.weather, pull.tune, self.noise, random, pull.warm)
        if time is not None and pull.sweep is not None:
            channels["time"] = time
            spent = pull.sweep.inertia * 2 * np.pi * pull.sweep.rise / 60
            channels["torque"] = channels["torque"] - spent
            channels["power"] = 2 * np.pi * channels["engine_speed"] * channels["torque"]
        if pull.to is not None:
            factor = pull.to(pull.weather)
            channels["torque"], channels["power"] = channels["torque"] * factor, channels["power"] * factor
        return channels


def _fahrenheit(value: float) -> float:
    return (value - 32) / 1.8


def inch(barometer: float, fahrenheit: float, humidity: float) -> Weather:
    """Weather as an inch shop reads it: inHg, degF, relative humidity."""
    return Weather(barometer * INCH_OF_MERCURY, _fahrenheit(fahrenheit), humidity)


def hecto(barometer: float, celsius: float, humidity: float) -> Weather:
    """Weather as a metric shop reads it: hPa, degC, relative humidity."""
    return Weather(barometer * 100, celsius, humidity)


def din_70020(air: Weather) -> float:
    """The withdrawn standard that the oldest dyno in the story corrects to."""
    return float(101.3e3 / air.barometer * np.sqrt(air.kelvin / 293.0))


def sae_j607(air: Weather) -> float:
    """The withdrawn standard that the customer's own dyno day was corrected to."""
    return float(29.92 * INCH_OF_MERCURY / air.dry_pressure * np.sqrt(air.kelvin / (519.67 / 1.8)))


def _seed(text: str) -> int:
    """A seed that is the same on every machine."""
    value = 17
    for character in text.encode():
        value = (value * 131 + character) % 2**32
    return value
