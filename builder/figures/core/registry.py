"""The catalogue of figures: one function and one registration make a figure.

A function's parameters name what it takes: inputs of the record (see inputs.py) or other figures. The
catalogue finds them, broadcasts over cylinders, carries uncertainty along, writes the working, and says
what is missing. So a new figure is::

    @figure(
        "rod_ratio", "Rod ratio", RATIO, section=CYLINDER, source=HEYWOOD_2,
        means="How long the connecting rod is against the stroke; a longer rod leans less.",
        formula=r"L / S", working="{rod_length} / {stroke}", holds="1.4 to 2.2 in running engines",
    )
    def rod_ratio(rod_length: Value, stroke: Value) -> Value:
        return geometry.rod_ratio(rod_length, stroke)

A parameter with a default may be missing; any other is needed. `another_way` adds a second route to a
figure, taken when the first lacks an input.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any, TypeVar

from builder.figures.core.display_units import DisplayUnit
from builder.figures.core.types import MethodDescription

F = TypeVar("F", bound=Callable[..., Any])

# The sections of the catalogue, in the order of the pages.
CYLINDER = "Cylinder and compression"
VALVE_TRAIN = "Valve train"
AIR = "Air and breathing"
POWER = "Power"
FITS = "Fits and fasteners"
SECTIONS = (CYLINDER, VALVE_TRAIN, AIR, POWER, FITS)

# The sources, named once.
COMMON_PRACTICE = "common practice, no source"
GEOMETRY = "geometry"
HEYWOOD_2 = "Heywood, Internal Combustion Engine Fundamentals, ch. 2"
HEYWOOD_6 = "Heywood, Internal Combustion Engine Fundamentals, ch. 6"
TAYLOR_1 = "Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 1, ch. 6"
TAYLOR_2 = "Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 2"
ASHRAE = "ASHRAE Handbook, Fundamentals, psychrometrics"
MACHINERYS = "Machinery's Handbook, torque and tension in fasteners"
SHIGLEY = "Shigley, Mechanical Engineering Design, springs"
SHIGLEY_BOLTS = "Shigley, Mechanical Engineering Design, fastener stiffness"
GUM = "JCGM 100:2008 (GUM)"


class Missing(Exception):
    """Raised by a figure's function that lacks one of several alternatives; its text says what to record."""


@dataclass(frozen=True)
class Method:
    """One way to a figure: a function, what it takes, and how its working reads."""

    function: Callable[..., Any]
    inputs: tuple[str, ...]
    needed: tuple[str, ...]
    working: str


@dataclass
class FigureDefinition:
    """A figure of the catalogue: what it is, and the routes to it."""

    method: MethodDescription
    routes: list[Method] = field(default_factory=list)
    axis: str | None = None
    vectorised: bool = False


_ENTRIES: dict[str, FigureDefinition] = {}


def figure(
    slug: str,
    title: str,
    display_unit: DisplayUnit,
    *,
    section: str,
    means: str,
    formula: str,
    working: str,
    source: str,
    validity: str,
    symbols: tuple[tuple[str, str, str], ...] = (),
    headline: str = "mean",
    axis: str | None = None,
    vectorised: bool = False,
    inputs: tuple[str, ...] = (),
    optional_inputs: tuple[str, ...] = (),
) -> Callable[[F], F]:
    """Register a function as a figure.

    ``means`` is one sentence for a customer; ``formula`` is mathtext; ``working`` is the formula with
    `{name}` where the numbers go. ``symbols`` adds symbols that are not the function's own parameters.
    ``axis`` names the positions the figure keeps when its inputs have several kinds; the others are
    averaged. With ``whole`` the function takes all positions at once and gives one number. ``takes`` names
    what a function that takes anything is to be given, and ``may_take`` what besides, if it is there.
    """

    def register(function: F) -> F:
        method = MethodDescription(
            slug, title, means, formula, symbols, source, validity, section, display_unit, headline
        )
        if slug in _ENTRIES:
            raise RuntimeError(f"two figures are called {slug}")
        _ENTRIES[slug] = FigureDefinition(
            method, [_route(function, working, inputs, optional_inputs)], axis, vectorised
        )
        return function

    return register


def alternative(slug: str, *, working: str, inputs: tuple[str, ...] = ()) -> Callable[[F], F]:
    """Register a second route to a figure, taken when those before it lack an input; ``takes`` as for `figure`."""

    def register(function: F) -> F:
        _ENTRIES[slug].routes.append(_route(function, working, inputs))
        return function

    return register


def _route(
    function: Callable[..., Any], working: str, inputs: tuple[str, ...] = (), optional_inputs: tuple[str, ...] = ()
) -> Method:
    if inputs:
        return Method(function, (*inputs, *optional_inputs), inputs, working)
    parameters = inspect.signature(function).parameters
    needed = tuple(name for name, parameter in parameters.items() if parameter.default is parameter.empty)
    return Method(function, tuple(parameters), needed, working)


@cache
def catalogue() -> dict[str, FigureDefinition]:
    """Every registered figure by slug, in the order of the catalogue."""
    # Importing a module registers its figures; the order here is the order of the pages.
    from builder.figures.definitions import (  # noqa: F401
        air,
        breathing,
        clearances,
        cylinder,
        power,
        timing,
        valve_train,
        what_if,
    )

    order = {section: index for index, section in enumerate(SECTIONS)}
    return dict(sorted(_ENTRIES.items(), key=lambda item: order[item[1].method.section]))
