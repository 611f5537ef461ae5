"""Figures of the pushrods: the length needed from the checking pushrod, against the length ordered."""

from __future__ import annotations

import numpy as np

from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Input
from builder.figures.core.registry import COMMON_PRACTICE, GEOMETRY, VALVE_TRAIN, Definitions
from builder.figures.definitions.valve_train import side_input
from builder.record.models.build import Build


def _has_pushrods(build: Build) -> bool:
    return build.has_valves and build.get("top_end.pushrods") is not None


define = Definitions(VALVE_TRAIN, applies=_has_pushrods)

define.add_inputs(
    side_input(
        "checking_length", "checking pushrod at zero lash", "l_0", units.LENGTH, "top_end.pushrods.checking_length",
        "top_end.pushrods.exhaust_checking_length", shared=True,
    ),
    side_input(
        "pushrod_ordered", "pushrod as ordered", "l_1", units.LENGTH, "top_end.pushrods.ordered_length",
        "top_end.pushrods.exhaust_ordered_length", shared=True,
    ),
    Input("pushrod_preload", "preload to add", "p", units.LENGTH, "top_end.pushrods.preload"),
)  # fmt: skip


@define.figure(
    "pushrod_length",
    "Pushrod length needed",
    units.LENGTH,
    source=COMMON_PRACTICE,
    axis="side",
    headline="first",
    means="Length of pushrod that fits this engine, from a checking pushrod set to zero lash.",
    formula=r"l_0 + p",
    working="{checking_length} + {pushrod_preload}",
    validity="cold, the lifter on the base circle; both lengths measured the same way (overall, or at a gauge circle)",
    is_sum=True,
)
def pushrod_length(checking_length: Value, pushrod_preload: Value = 0.0) -> Value:
    """Return the length needed, intake and exhaust [m]."""
    return unwrap_scalar(np.asarray(checking_length) + pushrod_preload)


@define.figure(
    "pushrod_difference",
    "Pushrod, ordered less needed",
    units.LENGTH,
    source=GEOMETRY,
    axis="side",
    headline="first",
    means="How much longer (+) or shorter (−) the pushrods are than this engine needs.",
    formula=r"l_1 - l",
    symbols=(("l", "pushrod length needed", "m"),),
    working="{pushrod_ordered} − {pushrod_length}",
    validity="with an adjuster the rest is taken up by it, at the cost of the rocker's geometry",
    is_sum=True,
)
def pushrod_difference(pushrod_ordered: Value, pushrod_length: Value) -> Value:
    """Return the length ordered less the length needed, intake and exhaust [m]."""
    return unwrap_scalar(np.asarray(pushrod_ordered) - pushrod_length)
