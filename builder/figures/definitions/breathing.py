"""Figures of breathing: how much air the engine asks for, and what heads and induction can pass."""

from __future__ import annotations

import numpy as np

from builder.engine import air, breathing, uncertainty
from builder.engine.constants import INCH_OF_WATER, STANDARD_ATMOSPHERE
from builder.engine.validation import Array, Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, written_text
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import AIR, COMMON_PRACTICE, HEYWOOD_2, HEYWOOD_6, TAYLOR_1, Definitions
from builder.figures.core.solver import solver_without_uncertainty
from builder.figures.core.types import GIVEN, LISTED, MEASURED, InputValue
from builder.record.models.build import Build
from builder.record.models.build_yaml import FUEL_FAMILIES
from builder.record.models.top_end import FlowBench, FlowPoint
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity

define = Definitions(AIR)

_BERNOULLI = "common practice, no source; Bernoulli"
_CONTINUITY = "continuity"
_ONE_CYLINDER = "flow of one cylinder's port with all its valves; test pressures to about 40 in H₂O"
_BENCH = "top_end.heads.flow_bench"
COMPARED_AT = 28.0 * INCH_OF_WATER
"""Depression that head flows are compared at [Pa]: 28 inH2O. Common practice, no source."""
_LIFT_STEPS = 720
"""Steps of the half-sine lift over which the mean flow coefficient is taken, by the trapezoid rule."""
BENCH_AIR = 1.204
"""Density [kg/m3] of the air that bench flows are read for: 20 °C and 101.325 kPa. Common practice, no source."""


def _is_natural(build: Build) -> bool:
    return not build.is_boosted


def _is_plain(build: Build) -> bool:
    """Return whether it is a four-stroke on gasoline without boost and nitrous oxide, as the rule of thumb asks."""
    engine, nitrous = build.build.engine, build.get("top_end.induction.nitrous")
    on_gasoline = engine.fuel is None or FUEL_FAMILIES[engine.fuel.kind] in ("pump gasoline", "race gasoline")
    return not build.is_boosted and nitrous is None and engine.cycle == "four-stroke" and on_gasoline


def _constant(name: str, label: str, symbol: str, display_unit: DisplayUnit, value: float, text: str) -> Input:
    """Return an input that is the same for every engine."""
    return Input(
        name, label, symbol, display_unit, _BENCH, get=lambda context, item: item.value(value, (text,), GIVEN)
    )  # fmt: skip


def _points(context: Context, side: str) -> tuple[FlowPoint, ...]:
    card: FlowBench | None = context.build.get(_BENCH)
    points: tuple[FlowPoint, ...] = getattr(card, side) if card else ()
    by_lift = {point.lift.si: point for point in points}
    return tuple(by_lift[lift] for lift in sorted(by_lift))


def _bench_input(side: str, symbol: str, display_unit: DisplayUnit, field: str) -> Input:
    """Return the flow or the lift of every point of the bench card, by lift."""

    def get(context: Context, item: Input) -> InputValue | None:
        points = _points(context, side)
        quantities: list[Quantity] = [getattr(point, field) for point in points]
        if not points:
            return None
        steps = np.array([float(uncertainty.from_resolution(quantity.step)) for quantity in quantities])
        return item.value(
            np.array([quantity.si for quantity in quantities]),
            tuple(map(written_text, quantities)),
            MEASURED,
            labels=tuple(written_text(point.lift) for point in points),
            contributions=uncertainty.root(item.name, steps),
            where=context.build.where(item.path),
        )

    name, label = f"{side}_bench_{field}", f"{side} {field} on the bench"
    return Input(name, label, symbol, display_unit, f"{_BENCH}.{side}", "valve lift", get=get)


define.add_inputs(
    Input("bench_depression", "test pressure", "Δp", units.BENCH_PRESSURE, f"{_BENCH}.depression"),
    Input("intake_valve_diameter", "intake valve head", "D_v", units.LENGTH, "top_end.heads.intake_valve.diameter"),
    Input("exhaust_valve_diameter", "exhaust valve head", "D_v", units.LENGTH, "top_end.heads.exhaust_valve.diameter"),
    Input("intake_valves", "intake valves of one cylinder", "z", units.COUNT,
          "top_end.heads.intake_valve.per_cylinder", provenance=GIVEN),
    Input("exhaust_valves", "exhaust valves of one cylinder", "z", units.COUNT,
          "top_end.heads.exhaust_valve.per_cylinder", provenance=GIVEN),
    Input("intake_port_area", "smallest section of the intake port", "A_p", units.AREA,
          "top_end.heads.intake_port_area"),
    Input("runner_area", "smallest section of a manifold runner", "A_r", units.AREA,
          "top_end.induction.manifold.runner_area"),
    Input("rated_flow", "rated air flow", "Q_r", units.VOLUME_FLOW, "top_end.induction.rated_flow", provenance=LISTED),
    Input("rated_depression", "rated pressure drop", "Δp_r", units.AIR_PRESSURE,
          "top_end.induction.rated_depression", provenance=GIVEN),
    Input("allowed_depression", "allowed pressure drop at full throttle", "Δp", units.AIR_PRESSURE,
          "top_end.induction.allowed_depression", provenance=GIVEN),
    _constant("compared_depression", "reference pressure drop", "Δp_{28}", units.BENCH_PRESSURE,
              COMPARED_AT, "28\N{NO-BREAK SPACE}in H₂O"),
    _constant("bench_air", "density of the bench's air", "ρ", units.DENSITY,
              BENCH_AIR, f"{BENCH_AIR:g}\N{NO-BREAK SPACE}kg/m³"),
    _bench_input("intake", "Q", units.VOLUME_FLOW, "flow"),
    _bench_input("intake", "L", units.LENGTH, "lift"),
    _bench_input("exhaust", "Q", units.VOLUME_FLOW, "flow"),
    _bench_input("exhaust", "L", units.LENGTH, "lift"),
)  # fmt: skip


def _full_lift(context: Context) -> float | None:
    """Return the net lift of the intake valve [m], where the record leads to it."""
    lift = context.cached(solver_without_uncertainty).input("valve_lift")
    if lift is None or lift.axis is None or "intake" not in lift.axis.labels:
        return None
    return float(np.asarray(lift.values)[lift.axis.labels.index("intake")])


def _card(context: Context) -> tuple[Array, Array, float] | None:
    """Return intake lifts [m], flows [m3/s] and depression [Pa] of the bench card, from no lift on."""
    card: FlowBench | None = context.build.get(_BENCH)
    points = _points(context, "intake")
    if card is None or card.depression is None or not points:
        return None
    lifts = np.array([0.0, *(point.lift.si for point in points)])
    return lifts, np.array([0.0, *(point.flow.si for point in points)]), card.depression.si


@define.computed_input("port_flow", "intake flow at full lift and 28 in H₂O", "Q_{28}", units.VOLUME_FLOW,
                       f"{_BENCH}.intake")  # fmt: skip
def _port_flow(context: Context, item: Input) -> InputValue | None:
    """Return the bench flow at the cam's lift; the highest on the card where that is not known, or is more lift."""
    card, lift = _card(context), _full_lift(context)
    if card is None:
        return None
    lifts, flows, depression = card
    flow = float(flows.max()) if lift is None else float(np.interp(lift, lifts, flows))
    flow = float(breathing.flow_at_depression(flow, depression, COMPARED_AT))
    text = item.display_unit.text(flow, context.system)
    return item.value(flow, (text,), MEASURED, where=context.build.where(_BENCH))


@define.computed_input("mean_flow_coefficient", "inlet flow coefficient, mean over the lift", "C_i", units.RATIO,
                       f"{_BENCH}.intake")  # fmt: skip
def _mean_flow_coefficient(context: Context, item: Input) -> InputValue | None:
    """Return bench flow over what the valve head's area would pass, the mean over a half-sine lift."""
    card, lift = _card(context), _full_lift(context)
    diameter: Reading | None = context.build.get("top_end.heads.intake_valve.diameter")
    if card is None or lift is None or diameter is None or not diameter.preferred:
        return None
    lifts, flows, depression = card
    angle = np.linspace(0.0, np.pi, _LIFT_STEPS + 1)
    flow = np.interp(lift * np.sin(angle), lifts, flows)
    count = context.build.get("top_end.heads.intake_valve").per_cylinder
    area = count * np.pi / 4 * float(diameter.values.mean()) ** 2
    coefficient = float(np.trapezoid(breathing.discharge_coefficient(flow, area, depression, BENCH_AIR), angle) / np.pi)
    return item.value(coefficient, (f"{coefficient:.3f}",), MEASURED, where=context.build.where(_BENCH))


@define.computed_input("power_per_flow", "power for each unit of flow", "c", units.RATIO, f"{_BENCH}.intake")
def _power_per_flow(context: Context, item: Input) -> InputValue:
    """Return the rule of thumb, good to a tenth at best."""
    rule = breathing.HORSEPOWER_PER_CFM
    text = f"{rule:g}\N{NO-BREAK SPACE}hp/cfm"
    return item.value(rule, (text,), GIVEN, contributions={item.name: 0.02 * rule})


@define.figure(
    "air_demand",
    "Airflow demand",
    units.VOLUME_FLOW,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="Airflow at 100 % volumetric efficiency.",
    formula=r"V_d \, \frac{n}{r} \, VE",
    symbols=(("V_d", "displacement", "m³"), ("VE", "volumetric efficiency, taken as 100 %", "1")),
    working="{displacement} × {speed_of_interest} / {revolutions_per_cycle} × 100 %",
    validity="at 100 % volumetric efficiency, in outside air; engines without boost",
    applies=_is_natural,
)
def air_demand(displacement: Value, speed_of_interest: Value, revolutions_per_cycle: Value) -> Value:
    """Return the volume flow of air at 100 % volumetric efficiency [m3/s]."""
    return breathing.air_demand(displacement, speed_of_interest, 1.0, _revolutions(revolutions_per_cycle))


def _revolutions(counted: Value) -> int:
    return round(float(np.mean(counted)))


@define.figure(
    "induction_headroom",
    "Carb/throttle capacity vs demand",
    units.RATIO,
    source=_BERNOULLI,
    axis="speed",
    headline="least",
    means="Above 1 the carburetor or throttle flows more than the engine demands; below 1 it restricts.",
    formula=r"\frac{Q_r}{Q} \sqrt{\frac{\Delta p}{\Delta p_r}}",
    symbols=(("Q", "airflow demand", "m³/s"),),
    working="{rated_flow} × √({allowed_depression} / {rated_depression}) / {air_demand}",
    validity="rating and demand at the same pressure drop; at 100 % volumetric efficiency; engines without boost",
    applies=_is_natural,
)
def induction_headroom(
    rated_flow: Value, rated_depression: Value, allowed_depression: Value, air_demand: Value
) -> Value:
    """Return rated flow over demand, both at the depression that is allowed [1]."""
    return breathing.induction_headroom(rated_flow, rated_depression, air_demand, allowed_depression)


@define.alternative("induction_headroom", working="{rated_flow} / {air_demand}, at the rated pressure drop")
def induction_headroom_as_rated(rated_flow: Value, air_demand: Value) -> Value:
    """Return rated flow over demand at the depression of the rating [1]."""
    return unwrap_scalar(np.asarray(rated_flow) / np.asarray(air_demand))


define.figure(
    "flow_at_depression",
    "Intake flow at 28 in H₂O",
    units.VOLUME_FLOW,
    source="Bernoulli",
    axis="valve lift",
    headline="most",
    means="Intake port flow at each lift, converted to 28 in H₂O.",
    formula=r"Q \sqrt{\frac{\Delta p_{28}}{\Delta p}}",
    working="{intake_bench_flow} × √({compared_depression} / {bench_depression})",
    validity=_ONE_CYLINDER,
    inputs=("intake_bench_flow", "bench_depression", "compared_depression"),
)(breathing.flow_at_depression)


define.figure(
    "exhaust_flow_at_depression",
    "Exhaust flow at 28 in H₂O",
    units.VOLUME_FLOW,
    source="Bernoulli",
    axis="valve lift",
    headline="most",
    means="Exhaust port flow at each lift, converted to 28 in H₂O.",
    formula=r"Q \sqrt{\frac{\Delta p_{28}}{\Delta p}}",
    working="{exhaust_bench_flow} × √({compared_depression} / {bench_depression})",
    validity=_ONE_CYLINDER,
    inputs=("exhaust_bench_flow", "bench_depression", "compared_depression"),
)(breathing.flow_at_depression)


_DISCHARGE = r"C_d = \frac{Q}{z \, \pi D_v L \sqrt{2 \Delta p / \rho}}"
_DISCHARGE_HOLDS = "bench air at 1.204 kg/m³ (20 °C, 101.325 kPa), common practice; to about 40 in H₂O"


def _discharge(flow: Value, lift: Value, diameter: Value, valves: Value, depression: Value, density: Value) -> Value:
    curtain = np.pi * np.asarray(valves) * np.asarray(diameter) * np.asarray(lift)
    return breathing.discharge_coefficient(flow, curtain, depression, density)


define.figure(
    "discharge_coefficient",
    "Intake discharge coefficient",
    units.RATIO,
    source=HEYWOOD_6,
    axis="valve lift",
    headline="most",
    means="Measured flow over ideal flow through the intake valve opening; 1 is ideal.",
    formula=_DISCHARGE,
    working="{intake_bench_flow} / ({intake_valves} × π × {intake_valve_diameter} × {intake_bench_lift}"
    " × √(2 × {bench_depression} / {bench_air}))",
    validity=_DISCHARGE_HOLDS,
    inputs=(
        "intake_bench_flow",
        "intake_bench_lift",
        "intake_valve_diameter",
        "intake_valves",
        "bench_depression",
        "bench_air",
    ),
)(_discharge)


define.figure(
    "exhaust_discharge_coefficient",
    "Exhaust discharge coefficient",
    units.RATIO,
    source=HEYWOOD_6,
    axis="valve lift",
    headline="most",
    means="Measured flow over ideal flow through the exhaust valve opening; 1 is ideal.",
    formula=_DISCHARGE,
    working="{exhaust_bench_flow} / ({exhaust_valves} × π × {exhaust_valve_diameter} × {exhaust_bench_lift}"
    " × √(2 × {bench_depression} / {bench_air}))",
    validity=_DISCHARGE_HOLDS,
    inputs=(
        "exhaust_bench_flow",
        "exhaust_bench_lift",
        "exhaust_valve_diameter",
        "exhaust_valves",
        "bench_depression",
        "bench_air",
    ),
)(_discharge)


define.figure(
    "mean_port_velocity",
    "Mean port velocity",
    units.FAST_VELOCITY,
    source=_CONTINUITY,
    axis="speed",
    headline="most",
    means="Mean air speed through the smallest port section.",
    formula=r"\frac{\pi}{4} B^2 \, \frac{S_p}{A_p}",
    symbols=(("S_p", "mean piston speed", "m/s"),),
    working="π/4 × ({bore})² × {mean_piston_speed} / {intake_port_area}",
    validity="smallest section of all intake ports of one cylinder; mean over a full stroke",
    inputs=("bore", "mean_piston_speed", "intake_port_area"),
)(breathing.mean_port_velocity)


define.figure(
    "mean_runner_velocity",
    "Mean runner velocity",
    units.FAST_VELOCITY,
    source=_CONTINUITY,
    axis="speed",
    headline="most",
    means="Mean air speed through the smallest section of a manifold runner.",
    formula=r"\frac{\pi}{4} B^2 \, \frac{S_p}{A_r}",
    symbols=(("S_p", "mean piston speed", "m/s"),),
    working="π/4 × ({bore})² × {mean_piston_speed} / {runner_area}",
    validity="one runner for each cylinder; mean over a full stroke",
    inputs=("bore", "mean_piston_speed", "runner_area"),
)(breathing.mean_port_velocity)


@define.figure(
    "inlet_mach_index",
    "Intake Mach index (Z)",
    units.INDEX,
    source=TAYLOR_1,
    axis="speed",
    headline="most",
    means="Ratio of mean intake flow speed to the speed of sound; above about 0.6 volumetric efficiency falls.",
    formula=r"Z = \frac{1}{z} \left( \frac{B}{D_v} \right)^2 \frac{S_p}{C_i \, a}",
    symbols=(("S_p", "mean piston speed", "m/s"), ("a", "speed of sound at the inlet's temperature", "m/s")),
    working="1 / {intake_valves} × ({bore} / {intake_valve_diameter})² × {mean_piston_speed}"
    " / ({mean_flow_coefficient} × a({air_temperature}))",
    validity="poppet valves; flow coefficient on valve head area, averaged over a half-sine lift curve",
)
def inlet_mach_index(
    bore: Value,
    intake_valve_diameter: Value,
    intake_valves: Value,
    mean_piston_speed: Value,
    mean_flow_coefficient: Value,
    air_temperature: Value,
) -> Value:
    """Return Taylor's inlet Mach index [1]."""
    sound = air.speed_of_sound(STANDARD_ATMOSPHERE, air_temperature)
    return breathing.inlet_mach_index(
        bore, intake_valve_diameter, intake_valves, mean_piston_speed, mean_flow_coefficient, sound
    )


@define.figure(
    "head_flow_ceiling",
    "Head flow power potential (rule of thumb)",
    units.POWER,
    source=COMMON_PRACTICE,
    means="Rule of thumb: the power the heads can support if everything else suits.",
    formula=r"0.257 \; Q_{28} \, N",
    symbols=(("Q_{28}", "intake flow at full lift and 28 in H₂O", "cfm"),),
    working="{power_per_flow} × {port_flow} × {cylinders}",
    validity="naturally aspirated four-strokes on gasoline, without nitrous oxide; a rule of thumb, ±10 % at best",
    applies=_is_plain,
)
def head_flow_ceiling(port_flow: Value, cylinders: Value, power_per_flow: Value) -> Value:
    """Return the power the heads could support [W]."""
    return breathing.head_flow_ceiling(port_flow, round(float(np.mean(cylinders))), power_per_flow)
