"""The figures themselves, one module a subject."""

from builder.figures.core.registry import combine
from builder.figures.definitions import (
    air,
    boost,
    breathing,
    cam_readings,
    clearances,
    comparisons,
    cylinder,
    fasteners,
    fuel,
    ignition,
    logged_flow,
    piston_motion,
    ports,
    power,
    pushrods,
    result_uncertainty,
    rod_bolts,
    timing,
    valve_dynamics,
    valve_train,
    what_if,
)

_IN_PAGE_ORDER = (
    cylinder,
    piston_motion,
    rod_bolts,
    what_if,
    cam_readings,
    timing,
    valve_train,
    pushrods,
    valve_dynamics,
    ports,
    air,
    breathing,
    fuel,
    logged_flow,
    boost,
    ignition,
    comparisons,
    power,
    result_uncertainty,
    clearances,
    fasteners,
)

REGISTRY = combine(module.define for module in _IN_PAGE_ORDER)
"""Every figure, in page order, and every input."""
