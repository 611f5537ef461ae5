"""How figures are defined: one function and one decorator are a figure.

A function's parameters name what it takes: inputs of the record (see inputs.py) or other figures. The solver finds
them, broadcasts over cylinders, propagates uncertainty, writes the working, and says what is missing. A new figure
needs one module-level function::

    @define.figure(
        "rod_ratio", "Rod/stroke ratio", RATIO, source=HEYWOOD_2,
        means="Rod length divided by stroke; a longer rod swings through smaller angles.",
        formula=r"L / S", working="{rod_length} / {stroke}", validity="1.4 to 2.2 in running engines",
    )
    def rod_ratio(rod_length: Value, stroke: Value) -> Value:
        return rod_length / stroke

A function of engine/ is taken as it is: ``define.figure(...)(geometry.quench)``. Where its parameters have other names
than the inputs, ``inputs`` lists these in their order.

``define`` is the module's `Definitions`, which has its section; definitions/__init__.py lists the modules in page
order. A parameter with a default may be missing; any other is required. `Definitions.alternative` adds a second
method to a figure, used when those before it lack an input.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any, TypeVar

from builder.engine.validation import Value
from builder.figures.core.display_units import DisplayUnit
from builder.figures.core.inputs import Getter, Input, Registry
from builder.figures.core.types import FigureDefinition, FigureDescription, HeadlinePosition, Method
from builder.record.models.build import Build

F = TypeVar("F", bound=Callable[..., Any])

# The sections, in page order.
CYLINDER = "Cylinder and compression"
VALVE_TRAIN = "Valve train"
PORTS = "Two-stroke ports"
AIR = "Air, fuel and spark"
POWER = "Power"
FITS = "Clearances and fasteners"
SECTIONS = (CYLINDER, VALVE_TRAIN, PORTS, AIR, POWER, FITS)

# The sources.
COMMON_PRACTICE = "common practice, no source"
GEOMETRY = "geometry"
DEFINITION = "definition"
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


class Definitions:
    """The figures and inputs that one module defines, all of one section."""

    def __init__(
        self,
        section: str,
        *,
        axis: str | None = None,
        headline: HeadlinePosition = "mean",
        applies: Callable[[Build], bool] | None = None,
    ) -> None:
        """Start with none; ``axis`` and ``headline`` apply to figures that state no others.

        ``applies`` says for which engines the figures mean something: a four-stroke has no ports.
        """
        self.section, self.axis, self.headline, self.applies = section, axis, headline, applies
        self.figures: dict[str, FigureDefinition] = {}
        self.inputs: list[Input] = []

    def figure(
        self,
        slug: str,
        title: str,
        display_unit: DisplayUnit,
        *,
        means: str,
        formula: str,
        working: str,
        source: str,
        validity: str,
        symbols: tuple[tuple[str, str, str], ...] = (),
        headline: HeadlinePosition | None = None,
        axis: str | None = None,
        vectorised: bool = False,
        inputs: tuple[str, ...] = (),
        optional_inputs: tuple[str, ...] = (),
        is_sum: bool = False,
        is_listed: bool = True,
        applies: Callable[[Build], bool] | None = None,
    ) -> Callable[[F], F]:
        """Return a decorator that defines a function as a figure. Raises ValueError where the slug is taken.

        ``means`` is one sentence for a customer; ``formula`` is mathtext; ``working`` is the formula with `{name}`
        where the numbers go. ``symbols`` adds symbols that are not the function's own parameters. ``axis`` names
        the positions that the figure has when its inputs have several kinds; the others are averaged. A
        ``vectorised`` function takes all positions at once and returns one number. ``inputs`` names what the function
        is to be given where its parameters have other names, in their order, and ``optional_inputs`` what else, if it
        is recorded; a function with keyword parameters gets both by name. ``is_sum``: it only adds and subtracts, so
        that it is shown with the digits of its parts. A figure that is not ``is_listed`` has its entry on the Methods
        page and in data files alone. ``applies`` is as for the module.
        """
        if slug in self.figures:
            raise ValueError(f"two figures are called {slug}")
        description = FigureDescription(
            slug=slug,
            title=title,
            means=means,
            formula=formula,
            symbols=symbols,
            source=source,
            validity=validity,
            section=self.section,
            display_unit=display_unit,
            headline=headline or self.headline,
            is_listed=is_listed,
        )

        def define(function: F) -> F:
            method = _method(function, working, inputs, optional_inputs, is_sum=is_sum)
            self.figures[slug] = FigureDefinition(
                description, (method,), axis or self.axis, vectorised, applies or self.applies
            )
            return function

        return define

    def alternative(
        self, slug: str, *, working: str, inputs: tuple[str, ...] = (), is_sum: bool = False
    ) -> Callable[[F], F]:
        """Return a decorator that adds a method to a figure, used when those before it lack an input."""

        def define(function: F) -> F:
            definition = self.figures[slug]
            methods = (*definition.methods, _method(function, working, inputs, is_sum=is_sum))
            self.figures[slug] = replace(definition, methods=methods)
            return function

        return define

    def add_inputs(self, *inputs: Input) -> None:
        """Define inputs, most of which are read from the record as they are."""
        self.inputs += inputs

    def computed_input(
        self,
        name: str,
        label: str,
        symbol: str,
        display_unit: DisplayUnit,
        path: str,
        axis: str | None = None,
        hint: str = "",
        reads: tuple[str, ...] = (),
    ) -> Callable[[Getter], Getter]:
        """Return a decorator that defines an input with a getter; ``path`` says what the record should hold.

        ``reads`` is everything that the getter looks at, where that is little: see `Input.reads`.
        """

        def define(get: Getter) -> Getter:
            self.inputs.append(Input(name, label, symbol, display_unit, path, axis, get=get, hint=hint, reads=reads))
            return get

        return define


def _method(
    function: Callable[..., Any],
    working: str,
    inputs: tuple[str, ...] = (),
    optional_inputs: tuple[str, ...] = (),
    *,
    is_sum: bool = False,
) -> Method:
    parameters = inspect.signature(function).parameters
    if inputs:
        by_name = any(parameter.kind is parameter.VAR_KEYWORD for parameter in parameters.values())
        taking = function if by_name else _by_position(function, inputs)
        return Method(taking, (*inputs, *optional_inputs), inputs, working, is_sum)
    required = tuple(name for name, parameter in parameters.items() if parameter.default is parameter.empty)
    return Method(function, tuple(parameters), required, working, is_sum)


def _by_position(function: Callable[..., Any], names: tuple[str, ...]) -> Callable[..., Any]:
    """Return a function of keywords that hands the values of these names to another, in this order."""
    return lambda **values: function(*(values[name] for name in names))


def unchanged(value: Value) -> Value:
    """Return an input as it is: the function of a figure that is one reading."""
    return value


def combine(modules: Iterable[Definitions]) -> Registry:
    """Return every figure and input of the modules, in their order. Raises ValueError where a name is taken."""
    parts = tuple(modules)
    figures = [item for module in parts for item in module.figures.items()]
    inputs = [(item.name, item) for module in parts for item in module.inputs]
    names = [name for name, _ in (*figures, *inputs)]
    if len(set(names)) < len(names):
        raise ValueError(f"two figures or inputs are called {max(names, key=names.count)}")
    return Registry(dict(figures), dict(inputs))
