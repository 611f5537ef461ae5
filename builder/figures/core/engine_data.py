"""What a pull needs to know of the engine: its size, how it breathes, and what it burns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.engine.fuel_properties import TYPICAL_FUELS, FuelProperties
from builder.engine.geometry import swept_volume
from builder.engine.validation import Array
from builder.record.models.build import Build
from builder.record.quantities.readings import Reading


@dataclass(frozen=True, kw_only=True)
class EngineData:
    """Displacement [m3], stroke [m], fuel, its density [kg/m3] and heating value [J/kg]; None where not recorded.

    ``typical_fuel``: what fuels of this kind usually have; ``restricted``: whether its air passes a restrictor;
    ``turbo_speed_limit``: of the turbocharger, by its manufacturer [rev/s].
    """

    displacement: float | None
    stroke: float | None
    revolutions: int
    compression_ignition: bool
    boosted: bool
    turbocharged: bool
    fuel: str | None
    fuel_density: float | None
    stoichiometric: float | None
    heating_value: float | None
    typical_fuel: FuelProperties | None
    restricted: bool
    turbo_speed_limit: float | None

    @property
    def air_for_fuel(self) -> float | None:
        """Return the air-fuel ratio at lambda 1 [-]: that of the record, else the typical one of the fuel."""
        typical = self.typical_fuel.stoichiometric if self.typical_fuel else None
        return self.stoichiometric if self.stoichiometric is not None else typical

    @property
    def density_of_fuel(self) -> float | None:
        """Return the density of the fuel [kg/m3]: that of the record, else the typical one of the fuel."""
        typical = self.typical_fuel.density if self.typical_fuel else None
        return self.fuel_density if self.fuel_density is not None else typical

    @property
    def heat_of_fuel(self) -> float | None:
        """Return the lower heating value [J/kg]: that of the record, else the typical one of the fuel."""
        typical = self.typical_fuel.heating_value if self.typical_fuel else None
        return self.heating_value if self.heating_value is not None else typical


def read_engine_data(build: Build) -> EngineData:
    """Return what the record says of the engine."""
    engine, stroke = build.build.engine, _values(build, "bottom_end.crankshaft.stroke")
    bores = _values(build, "bottom_end.block.bores")
    displacement = None
    if bores is not None and stroke is not None and bores.min() > 0 and stroke.min() > 0:
        # As the figure of displacement: the mean of the cylinders gauged, times their number.
        displacement = build.cylinders * float(np.mean(swept_volume(bores, float(stroke.mean()))))
    fuel, turbo = engine.fuel, build.get("top_end.induction.turbocharger")
    return EngineData(
        displacement=displacement,
        stroke=float(stroke.mean()) if stroke is not None else None,
        revolutions=build.revolutions_per_cycle,
        compression_ignition=engine.ignition == "compression",
        boosted=build.is_boosted,
        turbocharged=engine.induction == "turbocharged",
        fuel=fuel.kind if fuel else None,
        fuel_density=fuel.density.si if fuel and fuel.density else None,
        stoichiometric=fuel.stoichiometric if fuel else None,
        heating_value=fuel.heating_value.si if fuel and fuel.heating_value else None,
        restricted=build.get("top_end.induction.restrictor_diameter") is not None,
        turbo_speed_limit=turbo.speed_limit.si if turbo and turbo.speed_limit else None,
        typical_fuel=TYPICAL_FUELS[fuel.kind] if fuel else None,
    )


def _values(build: Build, path: str) -> Array | None:
    reading = build.get(path)
    return reading.values if isinstance(reading, Reading) and reading.preferred else None
