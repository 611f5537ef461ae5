"""Inputs of breathing: the flow bench card, valves and ports, induction, injectors."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from builder.engine import breathing, uncertainty
from builder.engine.constants import INCH_OF_WATER
from builder.engine.values import Array
from builder.figures.core import display_units as units
from builder.figures.core.display_units import written_text
from builder.figures.core.inputs import INPUTS, Context, Input, computed_input, known_of, register_inputs
from builder.figures.core.types import GIVEN, LISTED, MEASURED, Axis, InputValue
from builder.figures.definitions.dyno_inputs import per_pull
from builder.figures.dyno.pull import PullResult
from builder.record.models.top_end import FlowBench, FlowPoint
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity

_BENCH = "top_end.heads.flow_bench"
COMPARED_AT = 28.0
"""Depression that head flows are compared at [inH2O]."""
BENCH_AIR = 1.204
"""Density [kg/m3] of the air that bench flows are read for: 20 °C and 101.325 kPa. Common practice, no source."""

register_inputs(
    Input("bench_depression", "depression on the bench", "Δp", units.BENCH_PRESSURE, f"{_BENCH}.depression"),
    Input("intake_valve_diameter", "intake valve head", "D_v", units.LENGTH, "top_end.heads.intake_valve.diameter"),
    Input("exhaust_valve_diameter", "exhaust valve head", "D_v", units.LENGTH, "top_end.heads.exhaust_valve.diameter"),
    Input("intake_valves", "intake valves of one cylinder", "z", units.COUNT,
          "top_end.heads.intake_valve.per_cylinder", basis=GIVEN),
    Input("exhaust_valves", "exhaust valves of one cylinder", "z", units.COUNT,
          "top_end.heads.exhaust_valve.per_cylinder", basis=GIVEN),
    Input("intake_port_area", "smallest section of the intake port", "A_p", units.AREA,
          "top_end.heads.intake_port_area"),
    Input("rated_flow", "rated air flow", "Q_r", units.VOLUME_FLOW, "top_end.induction.rated_flow", basis=LISTED),
    Input("rated_depression", "depression of the rating", "Δp_r", units.AIR_PRESSURE,
          "top_end.induction.rated_depression", basis=GIVEN),
    Input("allowed_depression", "depression allowed at full throttle", "Δp", units.AIR_PRESSURE,
          "top_end.induction.allowed_depression", basis=GIVEN),
    Input("injector_flow", "flow of one injector", "m_i", units.MASS_FLOW, "top_end.induction.injectors.flow",
          basis=LISTED),
    Input("injectors", "injectors", "k", units.COUNT, "top_end.induction.injectors.count", basis=GIVEN),
    Input("injector_pressure", "pressure of the injectors' rating", "p_r", units.PRESSURE,
          "top_end.induction.injectors.rated_pressure", basis=LISTED),
    Input("injector_pulses", "pulses of one injector in a cycle", "i", units.COUNT,
          "top_end.induction.injectors.pulses_per_cycle", basis=GIVEN),
)  # fmt: skip


@computed_input("fuel_pressure", "fuel pressure", "p", units.PRESSURE, "delivery.settings.fuel_pressure")
def _fuel_pressure(source: Context) -> InputValue | None:
    reading = source.build.get("delivery.settings.fuel_pressure")
    if not isinstance(reading, Reading) or reading.dimension != "pressure":
        return None
    known = known_of(INPUTS["fuel_pressure"], reading)
    return replace(known, where=source.build.where("delivery.settings.fuel_pressure")) if known else None


def _constant(name: str, label: str, symbol: str, shown: units.DisplayUnit, path: str, value: float, text: str) -> None:
    """An input that is the same for every engine: what a comparison is agreed to be made at."""

    def get(source: Context) -> InputValue:
        return InputValue(name, label, symbol, value, (text,), GIVEN)

    computed_input(name, label, symbol, shown, path)(get)


_constant("compared_depression", "depression that heads are compared at", "Δp_{28}", units.BENCH_PRESSURE, _BENCH,
          COMPARED_AT * INCH_OF_WATER, f"{COMPARED_AT:g}\N{NO-BREAK SPACE}inH2O")  # fmt: skip
_constant("bench_air", "density of the bench's air", "ρ", units.DENSITY, _BENCH, BENCH_AIR,
          f"{BENCH_AIR:g}\N{NO-BREAK SPACE}kg/m³")  # fmt: skip


def _points(source: Context, side: str) -> tuple[FlowPoint, ...]:
    card: FlowBench | None = source.build.get(_BENCH)
    points: tuple[FlowPoint, ...] = getattr(card, side) if card else ()
    by_lift = {point.lift.si: point for point in points}
    return tuple(by_lift[lift] for lift in sorted(by_lift))


def _by_valve_lift(name: str, side: str, of: Callable[[FlowPoint], Quantity]) -> Callable[[Context], InputValue | None]:
    def get(source: Context) -> InputValue | None:
        points = _points(source, side)
        if not points:
            return None
        item, written = INPUTS[name], [of(point) for point in points]
        return InputValue(
            name,
            item.label,
            item.symbol,
            np.array([quantity.si for quantity in written]),
            tuple(map(written_text, written)),
            MEASURED,
            Axis("valve lift", tuple(written_text(point.lift) for point in points)),
            uncertainty.root(name, _steps(written)),
            where=source.build.where(f"{_BENCH}.{side}"),
        )

    return get


def _steps(written: Iterable[Quantity]) -> Array:
    return np.array([float(uncertainty.from_resolution(quantity.step)) for quantity in written])


for _side in ("intake", "exhaust"):
    for _what, _label, _symbol, _shown, _of in (
        ("flow", f"{_side} flow on the bench", "Q", units.VOLUME_FLOW, lambda point: point.flow),
        ("lift", f"{_side} lift on the bench", "L", units.LENGTH, lambda point: point.lift),
    ):
        _slug = f"{_side}_bench_{_what}"
        computed_input(_slug, _label, _symbol, _shown, f"{_BENCH}.{_side}", "valve lift")(
            _by_valve_lift(_slug, _side, _of)
        )


def _full_lift(source: Context) -> float | None:
    """Net lift of the intake valve [m], where the record leads to it."""
    known = source.solver_without_uncertainty.known("valve_lift")
    if known is None or known.axis is None or "intake" not in known.axis.labels:
        return None
    return float(np.asarray(known.values)[known.axis.labels.index("intake")])


def _card(source: Context) -> tuple[Array, Array, float] | None:
    """Intake lifts [m], flows [m3/s] and depression [Pa] of the bench card, from no lift on."""
    card: FlowBench | None = source.build.get(_BENCH)
    points = _points(source, "intake")
    if card is None or card.depression is None or not points:
        return None
    lifts = np.array([0.0, *(point.lift.si for point in points)])
    return lifts, np.array([0.0, *(point.flow.si for point in points)]), card.depression.si


@computed_input("port_flow", "intake flow at full lift and 28 inH2O", "Q_{28}", units.VOLUME_FLOW, f"{_BENCH}.intake")
def _port_flow(source: Context) -> InputValue | None:
    """The bench flow at the lift the cam gives; the most on the card where that is not known, or is more lift."""
    card, lift = _card(source), _full_lift(source)
    if card is None:
        return None
    lifts, flows, depression = card
    flow = float(flows.max()) if lift is None else float(np.interp(lift, lifts, flows))
    flow = float(breathing.flow_at_depression(flow, depression, COMPARED_AT * INCH_OF_WATER))
    item = INPUTS["port_flow"]
    text = units.VOLUME_FLOW.text(flow, source.system)
    return InputValue(item.name, item.label, item.symbol, flow, (text,), MEASURED, where=source.build.where(_BENCH))


@computed_input("mean_flow_coefficient", "inlet flow coefficient, mean over the lift", "C_i", units.RATIO,
                f"{_BENCH}.intake")  # fmt: skip
def _mean_flow_coefficient(source: Context) -> InputValue | None:
    """Bench flow over what the valve head's area would pass, meaned over a lift that rises and falls as a half sine."""
    card, lift = _card(source), _full_lift(source)
    diameter: Reading | None = source.build.get("top_end.heads.intake_valve.diameter")
    if card is None or lift is None or diameter is None or not diameter.preferred:
        return None
    lifts, flows, depression = card
    through = np.linspace(0.0, np.pi, 181)
    flow = np.interp(lift * np.sin(through), lifts, flows)
    area = source.build.get("top_end.heads.intake_valve").per_cylinder * np.pi / 4 * float(diameter.values.mean()) ** 2
    coefficient = float(np.mean(breathing.discharge_coefficient(flow, area, depression, BENCH_AIR)))
    item = INPUTS["mean_flow_coefficient"]
    where = source.build.where(_BENCH)
    return InputValue(item.name, item.label, item.symbol, coefficient, (f"{coefficient:.3f}",), MEASURED, where=where)


def _fuel_at_peak_power(pull: PullResult) -> float | None:
    fuel = pull.derived.get("fuel_flow_mass")
    if fuel is None:
        return None
    known = np.isfinite(fuel)
    return float(np.interp(pull.peak_power.speed, pull.speed[known], fuel[known])) if known.any() else None


per_pull("pulse_at_peak_power", "injector pulse at peak power", "t_i", units.PULSE,
         "dyno.pulls (with the injector pulse in the log)",
         lambda pull: pull.at(pull.channels["injector_pulse"], pull.peak_power.speed)
         if "injector_pulse" in pull.channels else None)  # fmt: skip
per_pull("fuel_at_peak_power", "fuel flow at peak power", "m_f", units.MASS_FLOW,
         "dyno.pulls (with fuel flow in the log; by volume it needs build.yaml: engine.fuel.density)",
         _fuel_at_peak_power)  # fmt: skip


@computed_input("power_per_flow", "power for each unit of flow", "c", units.RATIO, f"{_BENCH}.intake")
def _power_per_flow(source: Context) -> InputValue:
    """The rule of thumb, good to a tenth at best."""
    item, rule = INPUTS["power_per_flow"], breathing.HORSEPOWER_PER_CFM
    text = f"{rule:g}\N{NO-BREAK SPACE}hp/cfm"
    return InputValue(item.name, item.label, item.symbol, rule, (text,), GIVEN, contributions={item.name: 0.02 * rule})
