"""Inputs of fits and fasteners: clearances as measured, the parts they come from, the bore gauge card, the joints."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from builder.engine import uncertainty
from builder.engine.fasteners import PRELOAD_SPREAD, nut_factor, tensile_stress_area
from builder.figures.core import display_units as units
from builder.figures.core.display_units import written_mean, written_text
from builder.figures.core.inputs import INPUTS, Context, Input, computed_input, known_of, register_inputs
from builder.figures.core.types import GIVEN, MEASURED, Axis, InputValue
from builder.record.models.assembly import Fastener
from builder.record.models.fields import title_of
from builder.record.models.work import BoreCylinder
from builder.record.quantities.readings import Reading
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import Quantity, factor

FITS_AT = "assembly.fits"

# What every recorded clearance is measured at, and its symbol. Where a fit has no positions, it is one number.
CLEARANCES: dict[str, str | None] = {
    "main_oil_clearance": "main",
    "rod_oil_clearance": "cylinder",
    "cam_oil_clearance": "cam bearing",
    "piston_clearance": "cylinder",
    "pin_clearance": "cylinder",
    "top_ring_gap": "cylinder",
    "second_ring_gap": "cylinder",
    "ring_side_clearance": "cylinder",
    "crank_end_float": None,
    "rod_side_clearance": "crankpin",
    "cam_end_float": None,
    "intake_guide_clearance": "intake valve",
    "exhaust_guide_clearance": "exhaust valve",
}

register_inputs(
    *(
        Input(f"{name}_measured", f"{name.replace('_', ' ')}, measured", "", units.LENGTH, f"{FITS_AT}.{name}", axis)
        for name, axis in CLEARANCES.items()
    ),
    Input("main_bore", "main housing bore", "B_m", units.LENGTH, "bottom_end.block.main_bores", "main"),
    Input("main_shell", "main shell thickness", "t_m", units.LENGTH, "bottom_end.bearings.main_shell"),
    Input("main_journal", "main journal", "D_m", units.LENGTH, "bottom_end.crankshaft.main_journals", "main"),
    Input("big_end_bore", "big-end housing bore", "B_r", units.LENGTH, "bottom_end.rods.big_end_bores", "cylinder"),
    Input("rod_shell", "rod shell thickness", "t_r", units.LENGTH, "bottom_end.bearings.rod_shell"),
    Input("piston_diameter", "piston at its gauge point", "D_p", units.LENGTH, "bottom_end.pistons.diameter",
          "cylinder"),
)  # fmt: skip


@computed_input("rod_journal", "crankpin", "D_r", units.LENGTH, "bottom_end.crankshaft.rod_journals", "crankpin")
def _rod_journal(source: Context) -> InputValue | None:
    """Crankpins; where each carries one rod they are the cylinders, else which is whose the record does not say."""
    reading = source.build.get("bottom_end.crankshaft.rod_journals")
    known = known_of(INPUTS["rod_journal"], reading) if reading is not None else None
    if known is None:
        return None
    if known.axis and len(known.axis.labels) == source.build.cylinders:
        known = replace(known, axis=Axis("cylinder", known.axis.labels))
    return replace(known, where=source.build.where("bottom_end.crankshaft.rod_journals"))


def _extremes(cylinder: BoreCylinder, along: str) -> tuple[float, float]:
    """The largest and the least reading that make up the taper (`depth`) or the out-of-round (`axis`) of a bore."""
    readings = [(depth.across, depth.along) for depth in cylinder.depths]
    worst = max(zip(*readings, strict=True) if along == "depth" else readings, key=lambda row: max(row) - min(row))
    return max(worst), min(worst)


def _gauged(name: str, along: str, which: int) -> Callable[[Context], InputValue | None]:
    def get(source: Context) -> InputValue | None:
        card = source.build.get("work.bore_gauging")
        cylinders = [c for c in card.cylinders if len(c.depths) > 1 or along == "axis"] if card else []
        if not cylinders:
            return None
        scale, _ = factor(card.unit, "length")
        numbers = [_extremes(cylinder, along)[which] for cylinder in cylinders]
        # YAML does not say how many decimals the gauge's numbers were written with.
        step = card.resolution.si if card.resolution else scale * 10.0 ** -_decimals(numbers)
        decimals = max(_decimals(numbers), _decimals([step / scale]) if card.resolution else 0)
        item = INPUTS[name]
        return InputValue(
            name,
            item.label,
            item.symbol,
            np.array(numbers) * scale,
            tuple(f"{number:.{decimals}f}\N{NO-BREAK SPACE}{card.unit}" for number in numbers),
            MEASURED,
            Axis("cylinder", tuple(str(cylinder.cylinder) for cylinder in cylinders)),
            uncertainty.root(name, uncertainty.from_resolution(step)),
            has_stated_resolution=card.resolution is not None,
            where=source.build.where("work.bore_gauging"),
        )

    return get


def _decimals(numbers: list[float]) -> int:
    return max((len(text.partition(".")[2]) for text in (f"{number:.10g}" for number in numbers)), default=0)


for _name, _along, _label in (
    ("taper", "depth", "at the depths that differ most"),
    ("out_of_round", "axis", "across the axes that differ most"),
):
    for _which, _word in ((0, "largest"), (1, "least")):
        _slug, _says = f"{_name}_{_word}", f"{_word} reading, {_label}"
        _register = computed_input(_slug, _says, "", units.LENGTH, "work.bore_gauging.cylinders", "cylinder")
        _register(_gauged(_slug, _along, _which))


def joint_labels(joints: tuple[Fastener, ...]) -> tuple[str, ...]:
    """The joints' names, told apart where two are called the same."""
    seen: dict[str, int] = {}
    labels = []
    for joint in joints:
        seen[joint.joint] = seen.get(joint.joint, 0) + 1
        labels.append(joint.joint if seen[joint.joint] == 1 else f"{joint.joint} ({seen[joint.joint]})")
    return tuple(labels)


def _by_joint(
    name: str, value_of: Callable[[Fastener], tuple[float, float, str] | None], basis: str
) -> Callable[[Context], InputValue | None]:
    """An input with one value, its standard uncertainty and its text for each joint; joints without it are NaN."""

    def get(source: Context) -> InputValue | None:
        joints: tuple[Fastener, ...] = source.build.get("assembly.fasteners") or ()
        found = [value_of(joint) for joint in joints]
        if not any(found):
            return None
        item = INPUTS[name]
        return InputValue(
            name,
            item.label,
            item.symbol,
            np.array([np.nan if each is None else each[0] for each in found]),
            tuple("not recorded" if each is None else each[2] for each in found),
            basis,
            Axis("joint", joint_labels(joints)),
            {name: np.array([np.nan if each is None else each[1] for each in found])},
            has_stated_resolution=name in ("nut_factor", "bolt_stretch"),
            where=source.build.where(f"assembly.fasteners.{next(i for i, each in enumerate(found) if each)}"),
        )

    return get


def _torque(joint: Fastener) -> tuple[float, float, str] | None:
    if joint.torque is None or not joint.torque.preferred:
        return None
    value = float(joint.torque.values.mean())
    step = max(quantity.step for quantity in joint.torque.preferred)
    return value, float(uncertainty.from_resolution(step)), written_text(joint.torque.preferred[0])


def _torque_that_decides(joint: Fastener) -> tuple[float, float, str] | None:
    """The torque, unless an angle was turned after it: then it says nothing about the clamping force."""
    return _torque(joint) if joint.angle is None else None


def _nut_factor(joint: Fastener) -> tuple[float, float, str] | None:
    """As written down, else from the friction and the thread."""
    thread = parse_thread(joint.size) if joint.size else None
    if joint.nut_factor is not None:
        value, text = joint.nut_factor, f"{joint.nut_factor:g}"
    elif joint.friction is not None and thread is not None:
        value = float(nut_factor(thread.diameter, thread.pitch, joint.friction, joint.friction))
        text = f"{value:.3f} (friction {joint.friction:g})"
    else:
        return None
    # Whatever nut factor is written down, friction scatters about it: that is what makes preload so uncertain.
    return value, value * PRELOAD_SPREAD["torque"] / uncertainty.COVERAGE, text


def _diameter(joint: Fastener) -> tuple[float, float, str] | None:
    thread = parse_thread(joint.size) if joint.size else None
    return (thread.diameter, 0.0, f"diameter of {joint.size}") if thread else None


def _sections(joint: Fastener) -> tuple[Quantity | None, Quantity | None] | None:
    """Shank and thread that stretch, either of them; None unless the stretch was measured and a length is known."""
    shank = joint.shank_length if joint.shank_diameter is not None else None
    if joint.stretch is None or not joint.stretch.preferred or _diameter(joint) is None:
        return None
    return (shank, joint.thread_length) if shank or joint.thread_length else None


def _stretch(joint: Fastener) -> tuple[float, float, str] | None:
    if joint.stretch is None or _sections(joint) is None:
        return None
    value = float(joint.stretch.values.mean())
    # Where the stretching ends inside nut and head is not known better than this.
    spread = value * PRELOAD_SPREAD["stretch"] / uncertainty.COVERAGE
    step = max(quantity.step for quantity in joint.stretch.preferred)
    return value, float(np.hypot(uncertainty.from_resolution(step), spread)), written_mean(joint.stretch)


def _section(which: int) -> Callable[[Fastener], tuple[float, float, str] | None]:
    def get(joint: Fastener) -> tuple[float, float, str] | None:
        sections = _sections(joint)
        if sections is None:
            return None
        length = sections[which]
        if length is None:
            return 0.0, 0.0, "0"
        return length.si, float(uncertainty.from_resolution(length.step)), written_text(length)

    return get


def _shank_diameter(joint: Fastener) -> tuple[float, float, str] | None:
    sections = _sections(joint)
    if sections is None or sections[0] is None or joint.shank_diameter is None:
        return _diameter(joint) if sections else None  # a shank of no length may have any diameter
    step = uncertainty.from_resolution(joint.shank_diameter.step)
    return joint.shank_diameter.si, float(step), written_text(joint.shank_diameter)


def _stress_area(joint: Fastener) -> tuple[float, float, str] | None:
    thread = parse_thread(joint.size) if joint.size else None
    if thread is None or joint.size is None or _sections(joint) is None:
        return None
    kind: Literal["metric", "unified"] = "metric" if joint.size.strip()[:1] in "Mm" else "unified"
    area = float(tensile_stress_area(thread.diameter, thread.pitch, kind))
    return area, 0.0, f"{area * 1e6:.1f}\N{NO-BREAK SPACE}mm²"


for _name, _label, _symbol, _shown, _field, _get, _basis in (
    ("joint_torque", "torque", "T", units.TORQUE, "torque", _torque, MEASURED),
    (
        "deciding_torque",
        "torque, where it is what decides",
        "T",
        units.TORQUE,
        "torque",
        _torque_that_decides,
        MEASURED,
    ),
    ("nut_factor", "nut factor", "K", units.RATIO, "nut_factor", _nut_factor, GIVEN),
    ("thread_diameter", "thread diameter", "d", units.LENGTH, "size", _diameter, GIVEN),
    ("bolt_stretch", "stretch, mean of the bolts", "\\delta", units.LENGTH, "stretch", _stretch, MEASURED),
    ("shank_length", "plain shank", "l_S", units.LENGTH, "shank_length (and shank_diameter)", _section(0), GIVEN),
    ("shank_diameter", "diameter of the shank", "d_S", units.LENGTH, "shank_diameter", _shank_diameter, GIVEN),
    ("thread_length", "thread that stretches", "l_T", units.LENGTH, "thread_length", _section(1), GIVEN),
    ("thread_stress_area", "stress area of the thread", "A_T", units.AREA, "size", _stress_area, GIVEN),
):
    computed_input(_name, _label, _symbol, _shown, f"assembly.fasteners.{_field}", "joint")(
        _by_joint(_name, _get, _basis)
    )


def clearances_in_range(source: Context) -> list[tuple[str, Reading]]:
    """Title and reading of every fit that was measured and has a range with two ends."""
    fits = source.build.get(FITS_AT)
    if fits is None:
        return []
    named = [(title_of(name, info), getattr(fits, name)) for name, info in type(fits).model_fields.items()]
    named = [(title, value) for title, value in named if isinstance(value, Reading)]
    named += [(other.name[:1].upper() + other.name[1:], other.reading) for other in fits.other]
    return [
        (title, reading)
        for title, reading in named
        if reading.is_measured and reading.least and reading.most and reading.least.si < reading.most.si
    ]


def _by_fit(name: str, value_of: Callable[[Reading], tuple[float, str]]) -> Callable[[Context], InputValue | None]:
    def get(source: Context) -> InputValue | None:
        fits = clearances_in_range(source)
        if not fits:
            return None
        found = [value_of(reading) for _, reading in fits]
        item = INPUTS[name]
        return InputValue(
            name,
            item.label,
            item.symbol,
            np.array([value for value, _ in found]),
            tuple(text for _, text in found),
            MEASURED,
            Axis("fit", tuple(title for title, _ in fits)),
            where=source.build.where(FITS_AT),
        )

    return get


def _mean_of(reading: Reading) -> tuple[float, str]:
    return float(reading.values.mean()), written_mean(reading)


def _end(which: str) -> Callable[[Reading], tuple[float, str]]:
    def get(reading: Reading) -> tuple[float, str]:
        end: Quantity | None = getattr(reading, which)
        assert end is not None  # clearances_in_range keeps no other
        return end.si, written_text(end)

    return get


for _name, _label, _get_one in (
    ("fit_mean", "mean reading", _mean_of),
    ("fit_least", "least allowed", _end("least")),
    ("fit_most", "most allowed", _end("most")),
):
    computed_input(_name, _label, "", units.LENGTH, FITS_AT, "fit")(_by_fit(_name, _get_one))
