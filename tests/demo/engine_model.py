"""A small engine on paper: what a dyno would read off it, for the demonstration archive.

The charge comes from a volumetric-efficiency curve and the air of the day, the indicated work from the
compression ratio and the mixture, and friction from mean piston speed and peak pressure (the form of Chen and
Flynn). It knows nothing of the product: what it makes is only ever read back from the files.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GAS_CONSTANT_AIR = 287.05  # J/(kg K)
REFERENCE_DRY_PRESSURE = 99e3  # Pa
REFERENCE_TEMPERATURE = 298.15  # K


@dataclass(frozen=True)
class Fuel:
    """Lower heating value [J/kg], air-fuel ratio at lambda 1, and density [kg/m3]."""

    heating_value: float
    stoichiometric: float
    density: float


PETROL = Fuel(43.2e6, 14.6, 745.0)
RACE_PETROL = Fuel(43.0e6, 14.5, 755.0)
E85 = Fuel(29.2e6, 9.8, 781.0)
METHANOL = Fuel(19.9e6, 6.45, 792.0)
DIESEL = Fuel(42.8e6, 14.5, 838.0)
PARAFFIN = Fuel(43.1e6, 14.7, 805.0)


@dataclass(frozen=True)
class Weather:
    """The air at the inlet: barometer in the room [Pa], temperature [C], relative humidity [0..1]."""

    barometer: float
    celsius: float
    humidity: float

    @property
    def vapor_pressure(self) -> float:
        """Partial pressure of water vapor [Pa], by the Magnus formula: good enough to make data with."""
        return self.humidity * 611.2 * float(np.exp(17.62 * self.celsius / (243.12 + self.celsius)))

    @property
    def dry_pressure(self) -> float:
        """Pressure of the dry part of the air [Pa]."""
        return self.barometer - self.vapor_pressure

    @property
    def kelvin(self) -> float:
        """Temperature [K]."""
        return self.celsius + 273.15

    @property
    def dry_density(self) -> float:
        """Dry air in a cubic metre [kg/m3]."""
        return self.dry_pressure / (GAS_CONSTANT_AIR * self.kelvin)


@dataclass(frozen=True)
class Engine:
    """What decides an engine's torque here. Lengths [m], volumes [m3], speeds [rpm]."""

    displacement: float
    stroke: float
    cylinders: int
    ratio: float
    fuel: Fuel
    ve_peak: float
    ve_speed: float
    fall_below: float = 0.30
    fall_above: float = 0.55
    tuning: float = 0.012
    tuning_waves: float = 2.2
    efficiency: float = 0.745
    best_spark: float = 33.0
    best_lambda: float = 0.88
    friction: float = 1.0
    two_stroke: bool = False
    trapping: float = 1.0
    compression_ignition: bool = False
    oil_relief: float = 4.4e5
    oil_per_speed: float = 95.0
    exhaust_base: float = 600.0
    exhaust_offsets: tuple[float, ...] = field(default=())
    intake_loss: float = 5.0e3
    water_cooled: bool = True
    boost: float = 0.0
    """Boost above the barometer that the wastegate holds [Pa]; 0 without a turbocharger."""
    boost_speed: float = 3500.0
    """Speed at which the turbocharger has it [rpm]."""
    charge_temperature: float = 0.0
    """Charge after its cooler at full boost [K]."""
    restrictor: float = 0.0
    """Smallest diameter that all the air passes [m]; 0 without one."""

    @property
    def revolutions(self) -> int:
        """Crank revolutions in one cycle."""
        return 1 if self.two_stroke else 2

    def volumetric_efficiency(self, rpm: Array, shift: float = 0.0, scale: float = 1.0) -> Array:
        """Charge taken in against swept volume [1]: a tuned hump with the waves of the pipes on it."""
        peak = self.ve_speed + shift
        x = (rpm - peak) / peak
        hump = 1.0 - np.where(x < 0, self.fall_below, self.fall_above) * x**2
        waves = self.tuning * np.cos(2 * np.pi * self.tuning_waves * np.log(rpm / peak))
        return np.asarray(self.ve_peak * scale * (hump + waves))

    def friction_pressure(self, rpm: Array, indicated: Array) -> Array:
        """Friction and pumping mean effective pressure [Pa], Chen-Flynn form."""
        speed = 2 * self.stroke * rpm / 60
        peak_pressure = 5.4 * indicated if not self.compression_ignition else 8.0 * indicated
        base = 0.28e5 if self.two_stroke else 0.40e5
        return np.asarray(self.friction * (base + 0.005 * peak_pressure + 0.082e5 * speed + 0.0010e5 * speed**2))


@dataclass(frozen=True)
class Tune:
    """What the shop changes between pulls."""

    lam: float = 0.88
    lam_slope: float = 0.0
    """Change of lambda from the lowest speed of the pull to the highest: how a jet drifts."""
    spark: float | None = None
    """Total advance [deg]; None for the best."""
    ve_shift: float = 0.0
    ve_scale: float = 1.0
    friction: float = 1.0
    work: float = 1.0
    """Indicated work against the best: how a diesel answers to its injection timing."""
    misfire_above: float | None = None
    """Speed [rpm] above which the ignition breaks up."""


@dataclass(frozen=True)
class Noise:
    """How steady the dyno is."""

    torque: float = 0.0035
    """Scatter of torque from point to point, as a share."""
    pull: float = 0.0018
    """Standard deviation of the level of a pull, as a share."""


def run(
    engine: Engine,
    rpm: Array,
    weather: Weather,
    tune: Tune,
    noise: Noise,
    random: np.random.RandomState,
    warm: float = 0.0,
) -> dict[str, Array]:
    """One pull at the speeds given: every channel in SI, torque and power as observed that day."""
    n = rpm / 60
    along = (rpm - rpm[0]) / max(1.0, rpm[-1] - rpm[0])
    lam = tune.lam + tune.lam_slope * along
    ve = engine.volumetric_efficiency(rpm, tune.ve_shift, tune.ve_scale)
    # A warm day thins the charge less than it thins the air: part of the heat is picked up in the port anyway.
    charge = (
        ve
        * REFERENCE_DRY_PRESSURE
        / (GAS_CONSTANT_AIR * REFERENCE_TEMPERATURE)
        * (weather.dry_pressure / REFERENCE_DRY_PRESSURE)
        * np.sqrt(REFERENCE_TEMPERATURE / weather.kelvin)
    )
    if engine.boost:
        charge = _boosted_charge(engine, rpm, weather, ve)
    per_air = engine.fuel.heating_value / engine.fuel.stoichiometric
    mixture = 1 / lam if engine.compression_ignition else 1.02 - 2.0 * (lam - engine.best_lambda) ** 2
    efficiency = engine.efficiency * (1 - engine.ratio**-0.30) * (1 - 0.035 * 1500 / (rpm + 500))
    best = engine.best_spark - 6.0 * np.exp(-((rpm / engine.ve_speed) ** 2))
    spark = np.full_like(rpm, tune.spark) if tune.spark is not None else best
    timing = 1 - 4.2e-4 * (spark - best) ** 2 if not engine.compression_ignition else np.ones_like(rpm)
    indicated = charge * per_air * mixture * efficiency * timing * tune.work
    if tune.misfire_above is not None:
        indicated = indicated * np.where(rpm > tune.misfire_above, 0.86, 1.0)
    brake = indicated - tune.friction * engine.friction_pressure(rpm, indicated)
    torque = brake * engine.displacement / (2 * np.pi * engine.revolutions)
    torque = torque * (1 + noise.pull * random.standard_normal()) * (1 + _wander(random, rpm.size, noise.torque))

    air = charge * engine.displacement * n / engine.revolutions / engine.trapping
    fuel = air / (lam * engine.fuel.stoichiometric)
    load = air / np.max(air)
    channels = {
        "engine_speed": n,
        "torque": torque,
        "power": 2 * np.pi * n * torque,
        "air_flow": air * (1 + _wander(random, rpm.size, 0.003)),
        "air_flow_volume": air / weather.dry_density * (1 + _wander(random, rpm.size, 0.003)),
        "fuel_flow": fuel * (1 + _wander(random, rpm.size, 0.004)),
        "lambda": lam * (1 + _wander(random, rpm.size, 0.004)),
        "afr": lam * engine.fuel.stoichiometric * (1 + _wander(random, rpm.size, 0.004)),
        "spark_advance": spark,
        "oil_pressure": _oil_pressure(engine, rpm, warm) * (1 + _wander(random, rpm.size, 0.006)),
        "oil_temperature": 273.15 + 88 + warm + 7 * along + 0.2 * random.standard_normal(rpm.size),
        "coolant_temperature": 273.15 + 79 + 0.5 * warm + 4 * along + 0.2 * random.standard_normal(rpm.size),
        "manifold_pressure": weather.barometer
        - engine.intake_loss * load**2 * (1 + 0.02 * random.standard_normal(rpm.size)),
        "blow_by": air / weather.dry_density * (0.0052 + 0.0030 * along) * (1 + _wander(random, rpm.size, 0.02)),
        "barometer": np.full_like(rpm, weather.barometer),
        "air_temperature": weather.kelvin + 0.15 * random.standard_normal(rpm.size),
    }
    if engine.boost:
        boosted = charge * GAS_CONSTANT_AIR * engine.charge_temperature / ve - weather.barometer
        channels["boost_pressure"] = boosted * (1 + _wander(random, rpm.size, 0.006))
        channels["charge_temperature"] = (
            engine.charge_temperature - 4 + 8 * along + 0.3 * random.standard_normal(rpm.size)
        )
    offsets = engine.exhaust_offsets or (0.0,) * engine.cylinders
    mean = 273.15 + engine.exhaust_base + 130 * along**0.7 - 420 * (engine.best_lambda - lam)
    if not engine.compression_ignition:
        mean = mean + 3.0 * (best - spark)
    for number, offset in enumerate(offsets, start=1):
        channels[f"exhaust_temperature_{number}"] = mean + offset + 2.5 * random.standard_normal(rpm.size)
    channels["exhaust_temperature"] = mean + 2.5 * random.standard_normal(rpm.size)
    return channels


def _boosted_charge(engine: Engine, rpm: Array, weather: Weather, ve: Array) -> Array:
    """Return the charge for each swept volume [kg/m3]: at the boost held, or as much as the restrictor lets through.

    Air at the speed of sound in the throat passes 0.0404 A p / sqrt(T) in SI units (isentropic flow of air, ratio of
    specific heats 1.4); the boundary layer takes 4 % of the throat.
    """
    reached = 1 / (1 + np.exp(-(rpm - engine.boost_speed + 600) / 260))
    charge = ve * (weather.dry_pressure + engine.boost * reached) / (GAS_CONSTANT_AIR * engine.charge_temperature)
    if engine.restrictor:
        choked = 0.96 * 0.0404 * np.pi / 4 * engine.restrictor**2 * weather.barometer / np.sqrt(weather.kelvin)
        limit = choked * engine.revolutions / (engine.displacement * rpm / 60)
        charge = charge / (1 + (charge / limit) ** 12) ** (1 / 12)
    return np.asarray(charge)


def _wander(random: np.random.RandomState, size: int, spread: float) -> Array:
    """Noise that remembers a little of its last value, as a brake's does."""
    steps = random.standard_normal(size)
    out = np.empty(size)
    last = steps[0]
    for index in range(size):
        last = 0.45 * last + 0.89 * steps[index]
        out[index] = last
    return out * spread


def _oil_pressure(engine: Engine, rpm: Array, warm: float) -> Array:
    """A pump that rises with speed until its relief valve takes over softly."""
    free = 0.5e5 + engine.oil_per_speed * rpm * (1 - 0.004 * warm)
    return np.asarray(free / (1 + (free / engine.oil_relief) ** 6) ** (1 / 6))
