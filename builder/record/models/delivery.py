"""delivery.yaml: settings, fluids, limits, running in, services, warranty, sign-off."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, model_validator

from builder.record.models.assembly import Checks, Fits
from builder.record.models.fields import (
    AnyReading,
    Day,
    Line,
    Number,
    OneAngle,
    OneLength,
    OneSpeed,
    Prose,
    RecordModel,
    field,
)
from builder.record.problem import did_you_mean


class Settings(RecordModel):
    """Settings as delivered."""

    idle_timing: OneAngle | None = field(
        "spark advance at idle", "12 deg", plausible_range=("-10 deg", "40 deg"), also=("initial_timing", "base_timing")
    )
    total_timing: OneAngle | None = field(
        "total spark advance", "34 deg", plausible_range=("5 deg", "60 deg"), also=("total_advance",)
    )
    total_timing_by: OneSpeed | None = field("rpm at full advance", "3000 rpm", plausible_range=("300 rpm", "9000 rpm"))
    idle_speed: OneSpeed | None = field("idle speed", "850 rpm", plausible_range=("150 rpm", "3000 rpm"))
    intake_lash: Line | None = field(
        "intake lash, hot or cold", "0.022 in hot", also=("intake_valve_clearance", "intake_valve_lash")
    )
    exhaust_lash: Line | None = field(
        "exhaust lash, hot or cold", "0.024 in hot", also=("exhaust_valve_clearance", "exhaust_valve_lash")
    )
    jets: Line | None = field("jets", "70 primary, 76 secondary")
    map_version: Line | None = field(
        "name of the map in the control unit", "harbour-07", only_where="the engine has a control unit"
    )
    float_level: Line | None = field("float level", "9/16 in, float hanging")
    plug: Line | None = field("spark plug", "14 mm, long reach, middle heat range")
    plug_gap: OneLength | None = field(
        "plug gap", "0.035 in", plausible_range=("0.2 mm", "2.5 mm"), also=("spark_plug_gap",)
    )
    fuel_pressure: AnyReading | None = field("fuel pressure", "6.5 psi", units=("psi", "bar"))
    injection_timing: OneAngle | None = field(
        "start of injection, before TDC",
        "14 deg",
        plausible_range=("0 deg", "40 deg"),
        only_where="the fuel is injected by a pump",
    )
    other: tuple[Line, ...] = field("other settings", '["choke: opens fully at 60 degC", governor sealed]', default=())


class Fluid(RecordModel):
    """One fluid."""

    what: Line = field("use", "engine oil", required=True, title="fluid")
    grade: Line | None = field("grade", "15W-40 with zinc")
    amount: AnyReading | None = field("quantity", "4.7 L", units=("qt", "L"))


class Limit(RecordModel):
    """One limit the customer must keep."""

    what: Line = field("what", "oil pressure, hot, at 3000 rpm", required=True)
    limit: Line = field("the limit", "not under 45 psi", required=True)
    according_to: Line | None = field("source", "maker's manual", title="source")


class Interval(RecordModel):
    """How long until something is due: whichever of them comes first."""

    hours: Number | None = field("hours run", "50", sign="positive")
    distance: OneLength | None = field(
        "distance run", "5000 km", units=("mi", "km"), plausible_range=("10 km", "500000 km")
    )
    months: Number | None = field("months since delivery, or since it was last done", "12", sign="positive")


class Service(RecordModel):
    """One service. ``after`` is once, after delivery; ``every`` is again and again."""

    at: Line = field("when", "after 500 km", required=True, title="when")
    do: Line = field(
        "what", "change oil and filter, check the head bolts as the manufacturer says", required=True, title="work"
    )
    name: Line | None = field(
        "short name, by which service.yaml says that it was done", "oil",
        only_where="`millbook due` is to say when it is due",
    )  # fmt: skip
    after: Interval | None = field(
        "once, so long after delivery", "", only_where="`millbook due` is to say when it is due"
    )
    every: Interval | None = field(
        "again and again, so long after delivery or after it was last done", "",
        only_where="`millbook due` is to say when it is due",
    )  # fmt: skip

    @model_validator(mode="after")
    def _has_a_name(self) -> Service:
        if (self.after or self.every) and not self.name:
            raise ValueError("give it a short name, so that service.yaml can say that it was done: name: oil")
        return self


class SignOff(RecordModel):
    """Who answers for it."""

    what: Line = field("role", "assembled by", required=True, title="role")
    who: Line | None = field("name or initials", "RT", title="name")
    when: Day | None = field("day", "2024-05-17", title="date")


CAUTIONS = (
    "correction_range", "peak_at_end", "crank_power", "crank_torque", "rod_bolts", "balance", "lash_ramp",
    "spring_surge", "spring_margin",
    "pushrod_length",
    "piston_speed", "quench",
    "effective_ratio", "bmep", "volumetric_efficiency", "total_timing", "injector_duty", "fuel_pump",
    "induction_headroom", "restrictor",
    "unchecked_part", "calibration_due",
    "oil_pressure", "oil_temperature", "coolant_temperature", "lambda", "exhaust_spread", "blow_by_share",
    "spark_advance", "turbo_speed", "lambda_spread", "fuel_pressure", "battery_voltage", "manifold_vacuum",
    "manifold_pressure", "boost_pressure", "air_temperature", "charge_temperature", "exhaust_temperature",
    "hottest_exhaust",
    "taper", "out_of_round", "stretch",
    "pickup_clearance", "rev_limiter", "bores_ra", "bores_rz", "bores_rpk", "bores_rk", "bores_rvk",
    "bores_crosshatch", "decks_ra", "decks_rz", "heads_ra", "heads_rz",
    *Fits.model_fields,
    *(name for name in Checks.model_fields if name not in ("oil_reached_every_rocker", "lash_when", "other")),
)  # fmt: skip
"""The names of all cautions: those of the guidelines, then those of the clearances and checks of assembly.yaml."""


def _known_caution(name: str) -> str:
    key = name.casefold().replace(" ", "_")
    if key in CAUTIONS:
        return key
    hint = did_you_mean(key, CAUTIONS, f"known are {', '.join(CAUTIONS)}")
    raise ValueError(f"no caution is called {name[:60]!r}: {hint}")


class AcceptedCaution(RecordModel):
    """A caution that the shop looked at and accepted."""

    caution: Annotated[Line, AfterValidator(_known_caution)] = field(
        "name of the caution, as `millbook check` gives it", "quench", required=True
    )
    why: Line | None = field(
        "why it was accepted", "steel rods, 6500 rpm at most; 0.033 in has held before", private="customer"
    )
    by: Line = field("who accepted it", "JB", required=True)

    @model_validator(mode="after")
    def _has_a_reason(self) -> AcceptedCaution:
        if not self.why:
            raise ValueError("write why it was accepted and by whom: {caution: quench, why: ..., by: ...}")
        return self


class Delivery(RecordModel):
    """delivery.yaml: settings, fluids, limits and sign-off at delivery."""

    delivered: Day | None = field("date of delivery", "2024-05-20")
    settings: Settings | None = field("settings as delivered", "")
    accepted: tuple[AcceptedCaution, ...] = field(
        "cautions that were looked at and accepted; the customer sees them where handover_holds in shop.yaml names "
        "delivery.accepted.why",
        "",
        default=(),
        only_where="`millbook check` gives a caution",
    )
    fluids: tuple[Fluid, ...] = field("fluids", "", default=())
    least_octane: Line | None = field(
        "minimum octane, with its method", "98 RON", also=("minimum_octane",), title="minimum octane"
    )
    limits: tuple[Limit, ...] = field("operating limits", "", default=())
    first_start: tuple[Line, ...] = field(
        "first start, step by step; replaces the shop's standard steps",
        "[prime the oil until every rocker drips, no idling for the first twenty minutes]",
        default=(),
    )
    break_in: tuple[Line, ...] = field(
        "break-in, step by step; replaces the shop's standard steps",
        '["first 500 km: under 3000 rpm, load varied", change oil and filter]',
        default=(),
    )
    services: tuple[Service, ...] = field("service schedule", "", default=())
    warranty: Prose | None = field(
        "warranty, if different from the shop's standard text",
        "Twelve months on parts and work, as long as the services are kept.",
    )
    warranty_ends: Day | None = field(
        "last day of the warranty, where the shop's usual months do not hold", "2025-05-20"
    )
    signed: tuple[SignOff, ...] = field("sign-off", "", default=(), title="sign-off")
    note: Prose | None = field("remarks for the customer", "The engine is set for the fuel named above and no other.")
    private_note: Prose | None = field("private note", "customer asked for the old pistons back", private="shop")
