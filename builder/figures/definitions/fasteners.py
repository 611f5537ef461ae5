"""Figures of fasteners: torque and clamping force of every joint."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from builder.engine import fasteners, uncertainty
from builder.engine.fasteners import PRELOAD_SPREAD
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, written_mean, written_text
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import FITS, MACHINERYS, SHIGLEY_BOLTS, Definitions, unchanged
from builder.figures.core.solver import FigureResult
from builder.figures.core.types import GIVEN, MEASURED, InputValue, Provenance
from builder.record.models.assembly import Fastener
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import Quantity

define = Definitions(FITS)

_NIST = "NIST SP 811 (unit factors)"


class JointValue(NamedTuple):
    """A value of one joint [SI], its standard uncertainty [SI], and its text."""

    value: float
    uncertainty: float
    text: str


def joint_labels(joints: tuple[Fastener, ...]) -> tuple[str, ...]:
    """Return the names of the joints, numbered where two are the same."""
    counts: dict[str, int] = {}
    labels = []
    for joint in joints:
        counts[joint.joint] = counts.get(joint.joint, 0) + 1
        labels.append(joint.joint if counts[joint.joint] == 1 else f"{joint.joint} ({counts[joint.joint]})")
    return tuple(labels)


def _by_joint(
    name: str,
    label: str,
    symbol: str,
    display_unit: DisplayUnit,
    field: str,
    value_of: Callable[[Fastener], JointValue | None],
    provenance: Provenance,
    *,
    scatter_stated: bool = False,
) -> Input:
    """Return an input with a value for each joint; joints without it are NaN.

    ``scatter_stated``: the uncertainty is a known scatter and not a last digit, so figures show it.
    """

    def get(context: Context, item: Input) -> InputValue | None:
        joints: tuple[Fastener, ...] = context.build.get("assembly.fasteners") or ()
        values = [value_of(joint) for joint in joints]
        if not any(values):
            return None
        first = next(index for index, value in enumerate(values) if value)
        return item.value(
            np.array([np.nan if value is None else value.value for value in values]),
            tuple("not recorded" if value is None else value.text for value in values),
            provenance,
            labels=joint_labels(joints),
            contributions={name: np.array([np.nan if value is None else value.uncertainty for value in values])},
            has_stated_resolution=scatter_stated,
            where=context.build.where(f"assembly.fasteners.{first}"),
        )

    return Input(name, label, symbol, display_unit, f"assembly.fasteners.{field}", "joint", get=get)


def _torque(joint: Fastener) -> JointValue | None:
    if joint.torque is None or not joint.torque.preferred:
        return None
    value = float(joint.torque.values.mean())
    step = max(quantity.step for quantity in joint.torque.preferred)
    return JointValue(value, float(uncertainty.from_resolution(step)), written_text(joint.torque.preferred[0]))


def _torque_that_decides(joint: Fastener) -> JointValue | None:
    """Return the torque, unless an angle was turned after it: then it says nothing about the clamping force."""
    return _torque(joint) if joint.angle is None else None


def _nut_factor(joint: Fastener) -> JointValue | None:
    """Return the nut factor as written down, else from the friction and the thread."""
    thread = parse_thread(joint.size) if joint.size else None
    if joint.nut_factor is not None:
        value, text = joint.nut_factor, f"{joint.nut_factor:g}"
    elif joint.friction is not None and thread is not None:
        value = float(fasteners.nut_factor(thread.diameter, thread.pitch, joint.friction, joint.friction))
        text = f"{value:.3f} (friction {joint.friction:g})"
    else:
        return None
    # Whatever nut factor is written down, friction scatters about it: that is what makes preload so uncertain.
    return JointValue(value, value * PRELOAD_SPREAD["torque"] / uncertainty.COVERAGE, text)


def _diameter(joint: Fastener) -> JointValue | None:
    thread = parse_thread(joint.size) if joint.size else None
    return JointValue(thread.diameter, 0.0, f"diameter of {joint.size}") if thread else None


def _sections(joint: Fastener) -> tuple[Quantity | None, Quantity | None] | None:
    """Return the lengths of shank and thread that stretch; None unless stretch and a length were recorded."""
    shank = joint.shank_length if joint.shank_diameter is not None else None
    if joint.stretch is None or not joint.stretch.preferred or _diameter(joint) is None:
        return None
    return (shank, joint.thread_length) if shank or joint.thread_length else None


def _stretch(joint: Fastener) -> JointValue | None:
    if joint.stretch is None or _sections(joint) is None:
        return None
    value = float(joint.stretch.values.mean())
    # Where the stretching ends inside nut and head is not known better than this.
    spread = value * PRELOAD_SPREAD["stretch"] / uncertainty.COVERAGE
    step = max(quantity.step for quantity in joint.stretch.preferred)
    return JointValue(value, float(np.hypot(uncertainty.from_resolution(step), spread)), written_mean(joint.stretch))


def _section(which: int) -> Callable[[Fastener], JointValue | None]:
    def get(joint: Fastener) -> JointValue | None:
        sections = _sections(joint)
        if sections is None:
            return None
        length = sections[which]
        if length is None:
            return JointValue(0.0, 0.0, "0")
        return JointValue(length.si, float(uncertainty.from_resolution(length.step)), written_text(length))

    return get


def _shank_diameter(joint: Fastener) -> JointValue | None:
    sections = _sections(joint)
    if sections is None or sections[0] is None or joint.shank_diameter is None:
        return _diameter(joint) if sections else None  # a shank of no length may have any diameter
    step = uncertainty.from_resolution(joint.shank_diameter.step)
    return JointValue(joint.shank_diameter.si, float(step), written_text(joint.shank_diameter))


def _stress_area(joint: Fastener) -> JointValue | None:
    thread = parse_thread(joint.size) if joint.size else None
    if thread is None or _sections(joint) is None:
        return None
    area = float(fasteners.tensile_stress_area(thread.diameter, thread.pitch, thread.kind))
    return JointValue(area, 0.0, f"{area * 1e6:.1f}\N{NO-BREAK SPACE}mm²")


define.add_inputs(
    _by_joint("joint_torque", "torque", "T", units.TORQUE, "torque", _torque, MEASURED),
    _by_joint("deciding_torque", "final torque", "T", units.TORQUE, "torque",
              _torque_that_decides, MEASURED),
    _by_joint("nut_factor", "nut factor", "K", units.RATIO, "nut_factor", _nut_factor, GIVEN,
              scatter_stated=True),
    _by_joint("thread_diameter", "thread diameter", "d", units.LENGTH, "size", _diameter, GIVEN),
    _by_joint("bolt_stretch", "stretch, mean of the bolts", "\\delta", units.LENGTH, "stretch", _stretch, MEASURED,
              scatter_stated=True),
    _by_joint("shank_length", "plain shank", "l_S", units.LENGTH, "shank_length (and shank_diameter)", _section(0),
              GIVEN),
    _by_joint("shank_diameter", "diameter of the shank", "d_S", units.LENGTH, "shank_diameter", _shank_diameter, GIVEN),
    _by_joint("thread_length", "thread that stretches", "l_T", units.LENGTH, "thread_length", _section(1), GIVEN),
    _by_joint("thread_stress_area", "stress area of the thread", "A_T", units.AREA, "size", _stress_area, GIVEN),
)  # fmt: skip


define.figure(
    "fastener_torque",
    "Fastener torque",
    units.TORQUE,
    source=_NIST,
    axis="joint",
    headline="first",
    means="Final torque of each joint, in both unit systems.",
    formula=r"T_{\mathrm{N\,m}} = 1.355818 \; T_{\mathrm{lbf\,ft}}",
    symbols=(
        (r"T_{\mathrm{N\,m}}", "final torque", "N m"),
        (r"T_{\mathrm{lbf\,ft}}", "the same in pound-force feet", "lbf ft"),
    ),
    working="{joint_torque}",
    validity="the joint as recorded; for reassembly follow the manufacturer's current specification",
    inputs=("joint_torque",),
)(unchanged)


@define.figure(
    "fastener_preload",
    "Est. clamp load, by torque",
    units.CLAMPING,
    source=MACHINERYS,
    axis="joint",
    headline="first",
    means="Estimated bolt tension; most of the torque only overcomes friction.",
    formula=r"F = \frac{T}{K d}",
    symbols=(("T", "final torque", "N m"), ("K", "nut factor for the lubricant", "1"), ("d", "thread diameter", "m")),
    working="{deciding_torque} / ({nut_factor} × {thread_diameter})",
    validity="an estimate, ±25 %; not a basis for choosing a torque; nut factor as recorded, or from recorded friction",
)  # fmt: skip
def fastener_preload(deciding_torque: Value, nut_factor: Value, thread_diameter: Value) -> FigureResult:
    """Return the clamping force of one fastener of each joint [N], with the band it may lie in."""
    force = fasteners.fastener_preload(deciding_torque, nut_factor, thread_diameter)
    spread = fasteners.PRELOAD_SPREAD["torque"]
    note = (
        f"Tightened by torque, the true clamp load may be {spread:.0%} below or above the estimate, and more with "
        "another lubricant. Torque-angle joints are left out: the initial torque does not give the clamp load."
    )
    return FigureResult(force, note=note)


define.figure(
    "stretch_preload",
    "Clamp load, by stretch",
    units.CLAMPING,
    source=SHIGLEY_BOLTS,
    axis="joint",
    headline="first",
    means="Bolt tension from measured stretch: more accurate than by torque.",
    formula=r"F = \frac{E \, \delta}{\frac{4 \, l_S}{\pi \, d_S^2} + \frac{l_T}{A_T}}",
    symbols=(("E", "Young's modulus of steel, 207 GPa", "Pa"),),
    working="207 GPa × {bolt_stretch} / ({shank_length} / (π/4 × ({shank_diameter})²)"
    " + {thread_length} / {thread_stress_area})",
    validity="steel bolts below yield, shank and thread as springs in series; about ±5 % where both ends are "
    "accessible; follow the manufacturer's stretch",
    inputs=("bolt_stretch", "shank_length", "shank_diameter", "thread_length", "thread_stress_area"),
)(fasteners.preload_from_stretch)
