"""The shop's guidelines: what shop.yaml sets, and what is common practice where it sets nothing.

Every value here is common practice, no source, and gives way to the shop's own. None of them is a law:
breaking one is a caution.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from builder.engine.constants import MECHANICAL_HORSEPOWER
from builder.figures.core.display_units import System, convert_to_other_system, system_of_unit, written_text
from builder.record.models.build_yaml import FUEL_FAMILIES
from builder.record.models.shop import Guidelines, Shop
from builder.record.quantities.units import Quantity

COMMON_PRACTICE = "common practice"
SHOP_RULE = "shop guideline"

# As it would be written in shop.yaml.
_DEFAULTS: dict[str, Any] = {
    "piston_speed": [
        {"type": "cast", "metres_per_second": 18},
        {"type": "hypereutectic", "metres_per_second": 20},
        {"type": "forged", "metres_per_second": 25},
    ],
    "effective_ratio": [
        {"fuel": "gasoline", "effective_ratio": 8.5},
        {"fuel": "E10", "effective_ratio": 8.5},
        {"fuel": "race gasoline", "effective_ratio": 9.5},
        {"fuel": "LPG", "effective_ratio": 9.5},
        {"fuel": "E85", "effective_ratio": 11},
        {"fuel": "ethanol", "effective_ratio": 11},
        {"fuel": "methanol", "effective_ratio": 13},
    ],
    "least_rod_bolt_margin": 1.5,
    "most_balance_grade": 16,
    "most_lash_over_ramp": 1.0,
    "least_quench": "0.035 in",
    "most_quench": "0.060 in",
    "least_intake_piston_to_valve": "0.080 in",
    "least_exhaust_piston_to_valve": "0.100 in",
    "least_coil_bind": "0.060 in",
    "most_pushrod_difference": "0.025 in",
    "least_retainer_to_seal": "0.050 in",
    "least_spring_margin": 1.1,
    "least_surge_order": 10,
    "planned_bsfc": 305,
    "most_bmep_natural": "220 psi",
    "most_volumetric_efficiency": 1.25,
    "ring_gap_per_bore": 0.0045,
    "boosted_ring_gap_per_bore": 0.0055,
    "nitrous_ring_gap_per_bore": 0.0065,
    "alcohol_ring_gap_per_bore": 0.0045,
    "second_ring_gap_over_top": 1.0,
    "boosted_second_ring_gap_over_top": 1.0,
    "oil_clearance_per_journal": 0.001,
    "leak_down_spread": 5,
    "cranking_spread": 0.90,
    "most_timing": "40 deg",
    "least_oil_pressure_per_1000_rpm": "10 psi",
    "most_oil_temperature": "275 degF",
    "most_coolant_temperature": "220 degF",
    "least_lambda": 0.80,
    "most_lambda": 0.95,
    # Lambda counts from each fuel's own exact mixture, but how far on the rich side a fuel runs best and coolest
    # is its own: alcohols far, gas hardly. Natural gas and paraffin are run in too many ways for a window.
    "mixture": [
        {"fuel": "E85", "least_lambda": 0.75, "most_lambda": 0.95},
        {"fuel": "ethanol", "least_lambda": 0.75, "most_lambda": 0.95},
        {"fuel": "methanol", "least_lambda": 0.65, "most_lambda": 0.90},
        {"fuel": "LPG", "least_lambda": 0.85, "most_lambda": 1.02},
    ],
    "most_exhaust_spread": 55,
    "most_exhaust_temperature": "1650 degF",
    "most_diesel_exhaust_temperature": "1300 degF",
    "most_charge_temperature": "150 degF",
    # A correction takes one temperature for a whole pull: 5.5 K (10 °F) is 0.9 % of torque by the square root of T.
    "most_inlet_air_difference": 5.5,
    # How much boost an engine takes is its own: there is no common limit.
    "most_boost": "0 psi",
    "most_lambda_spread": 0.06,
    "most_fuel_pressure_drop": 0.10,
    "most_battery_drop": 0.10,
    "most_full_throttle_vacuum": "1.5 inHg",
    "most_blow_by_share": 0.015,
    "most_injector_duty": 0.85,
    "most_restrictor_efficiency": 0.38,
    "least_fuel_pump_margin": 1.2,
    "least_induction_headroom": 1.0,
    # What the manufacturers of rings and gaskets ask for differs: theirs comes first, and is set with `allowed`.
    "least_pickup_clearance": "0.250 in",
    "most_pickup_clearance": "0.500 in",
    "most_bore_rpk": "16 uin",
    "most_bore_rk": "40 uin",
    "least_bore_rvk": "20 uin",
    "least_crosshatch": "30 deg",
    "most_crosshatch": "60 deg",
    "most_face_ra": "60 uin",
}


@dataclass(frozen=True)
class GuidelineValue:
    """One limit: its value (SI), as it is written, and whether the shop set it itself."""

    value: float
    text: str
    set_by_shop: bool
    written: Quantity | None = None

    def text_in(self, system: System) -> str:
        """Return the limit as written, after the other system where the build is shown in that."""
        if self.written is None or system_of_unit(self.written) == system:
            return self.text
        converted = convert_to_other_system(self.written)
        return f"{converted}, {self.text}" if converted else self.text

    @property
    def authority(self) -> str:
        """Return whose rule it is."""
        return SHOP_RULE if self.set_by_shop else COMMON_PRACTICE


@dataclass(frozen=True, kw_only=True)
class CrankGuideline:
    """The power [W] that a crankshaft's material is trusted with; ``less_than`` names the next stronger material."""

    material: str
    strength: str | None
    power: float
    less_than: str | None = None
    set_by_shop: bool = False

    @property
    def authority(self) -> str:
        """Return whose rule it is."""
        return SHOP_RULE if self.set_by_shop else COMMON_PRACTICE


# Shops differ: some trust nodular iron with the middle 500s. Forged and billet steels differ too
# much from each other for a value here.
_CRANK_DEFAULTS = (
    CrankGuideline(material="nodular iron", strength="95000 psi", power=400 * MECHANICAL_HORSEPOWER),
    CrankGuideline(material="cast steel", strength="105000 psi", power=515 * MECHANICAL_HORSEPOWER),
    CrankGuideline(material="forged 4340", strength="156000 psi", power=1500 * MECHANICAL_HORSEPOWER),
)


@cache
def _default_guidelines() -> Guidelines:
    return Guidelines.model_validate(_DEFAULTS)


def guideline_value(shop: Shop, name: str) -> GuidelineValue:
    """Return one limit of the shop by its name in shop.yaml; the default where the shop set none."""
    set_by_shop = getattr(shop.guidelines, name) is not None
    value = getattr(shop.guidelines if set_by_shop else _default_guidelines(), name)
    if isinstance(value, Quantity):
        return GuidelineValue(value.si, written_text(value), set_by_shop, value)
    return GuidelineValue(float(value), f"{value:g}", set_by_shop)


def piston_speed_guideline(shop: Shop, kind: str) -> GuidelineValue | None:
    """Return the mean piston speed [m/s] that a type of piston is trusted with."""
    for set_by_shop, guidelines in ((True, shop.guidelines), (False, _default_guidelines())):
        for entry in guidelines.piston_speed:
            if entry.type.casefold() == kind.casefold():
                return GuidelineValue(entry.metres_per_second, f"{entry.metres_per_second:g} m/s", set_by_shop)
    return None


def effective_ratio_guideline(shop: Shop, kind: str) -> GuidelineValue | None:
    """Return the effective compression ratio that a fuel is trusted with."""
    for fuel in _fuels_by(kind):
        for set_by_shop, guidelines in ((True, shop.guidelines), (False, _default_guidelines())):
            for entry in guidelines.effective_ratio:
                if entry.fuel == fuel:
                    return GuidelineValue(entry.effective_ratio, f"{entry.effective_ratio:g}:1", set_by_shop)
    return None


def _fuels_by(kind: str) -> tuple[str, ...]:
    """Return the fuels whose guidelines hold for a kind: its own, then for regular and premium that of gasoline."""
    return (kind, "gasoline") if kind in ("regular gasoline", "premium gasoline") else (kind,)


def mixture_guideline(shop: Shop, kind: str | None) -> tuple[GuidelineValue, GuidelineValue] | None:
    """Return the richest and leanest lambda at full load on a fuel; None for a fuel without a guideline."""
    if kind is None:
        return None
    for fuel in _fuels_by(kind):
        for set_by_shop, guidelines in ((True, shop.guidelines), (False, _default_guidelines())):
            for entry in guidelines.mixture:
                if entry.fuel == fuel:
                    rich, lean = (
                        GuidelineValue(end, f"{end:g}", set_by_shop) for end in (entry.least_lambda, entry.most_lambda)
                    )
                    return rich, lean
    is_gasoline = FUEL_FAMILIES.get(kind) in ("pump gasoline", "race gasoline")
    return (guideline_value(shop, "least_lambda"), guideline_value(shop, "most_lambda")) if is_gasoline else None


def crank_guideline(shop: Shop, material: str) -> CrankGuideline | None:
    """Return the power that a crankshaft's material is trusted with."""
    key = material.casefold()
    for entry in shop.guidelines.crank_power:
        if entry.material.casefold() == key:
            strength = entry.strength.text if entry.strength else None
            return CrankGuideline(material=entry.material, strength=strength, power=entry.up_to.si, set_by_shop=True)
    if key == "cast iron" and (stronger := crank_guideline(shop, "nodular iron")):
        return CrankGuideline(
            material=key, strength="80000 psi", power=stronger.power, less_than=stronger.material.casefold()
        )
    return next((default for default in _CRANK_DEFAULTS if default.material == key), None)
