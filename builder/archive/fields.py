"""The table of what the archive knows about a build: names, units, decimals, and weight in similarity.

Python, the finder's data file and the pages all read this table, so they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from builder.archive.summary import Summary
from builder.engine.constants import (
    CUBIC_FOOT_PER_MINUTE,
    CUBIC_INCH,
    FOOT,
    INCH,
    LITRE,
    MECHANICAL_HORSEPOWER,
    MINUTE,
    POUND_FORCE_FOOT,
    PSI,
)

System = Literal["inch", "metric"]
FieldKind = Literal["number", "choice"]
FieldGroup = Literal["general", "bottom end", "cam and valves", "airflow and fuel", "result"]


@dataclass(frozen=True, slots=True)
class FieldUnit:
    """How a value is displayed: SI value * factor, with so many decimals."""

    label: str
    factor: float = 1.0
    decimals: int = 0

    def show(self, value: float) -> str:
        """Return an SI value in this unit, without the label; a half rounds away from zero, as in the browser."""
        converted = value * self.factor
        if abs(converted) < 1e15:
            # As the browser does it, to the last bit: the factor makes up for the error of binary arithmetic.
            nudged = converted * (1 + 1e-14) if abs(converted) < 1e9 else converted
            exact = Decimal(nudged).quantize(Decimal(1).scaleb(-self.decimals), ROUND_HALF_UP)
            return f"{abs(exact) if exact == 0 else exact:f}"
        return f"{converted:g}"


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a build.

    ``quantum`` is the number of the archive's steps in one SI unit: values are compared as multiples of a
    step, finer than any shop measures, so that Python and the browser compute with identical numbers.
    ``scale`` is the difference that counts in full: in the SI unit or, where ``ratio`` is set, as a ratio
    (2.0: one is twice the other). ``weight`` is the field's default weight in similarity. ``optional`` is a field that
    many records leave out: in similarity a build without it is compared by the other fields alone.
    """

    slug: str
    title: str
    kind: FieldKind
    group: FieldGroup
    weight: float = 0.0
    scale: float = 1.0
    ratio: bool = False
    quantum: int = 1
    inch: FieldUnit = FieldUnit("")
    metric: FieldUnit = FieldUnit("")
    optional: bool = False

    def unit(self, system: System) -> FieldUnit:
        """Return the unit in which a shop that works in this system reads the field."""
        return self.inch if system == "inch" else self.metric

    def show(self, value: float | str, system: System) -> str:
        """Return a value with its unit, as text."""
        if isinstance(value, str):
            return value
        unit = self.unit(system)
        return unit.show(value) + (unit.label if unit.label in ("", "°") else f" {unit.label}")


_INCH3 = FieldUnit("in", 1 / INCH, 3)
_MM = FieldUnit("mm", 1e3, 2)
_DEGREES = FieldUnit("°", 1.0, 0)
_DEGREES1 = FieldUnit("°", 1.0, 1)
_RATIO = FieldUnit("", 1.0, 2)
_RPM = FieldUnit("rpm", MINUTE, 0)


def _number(
    slug: str, title: str, group: FieldGroup, weight: float, scale: float, quantum: int,
    inch: FieldUnit, metric: FieldUnit, *, ratio: bool = False, optional: bool = False,
) -> Field:  # fmt: skip
    return Field(slug, title, "number", group, weight, scale, ratio, quantum, inch, metric, optional)


def _choice(slug: str, title: str, group: FieldGroup, weight: float, *, optional: bool = False) -> Field:
    return Field(slug, title, "choice", group, weight, optional=optional)


# Weights and scales are common practice, no source: what an engine builder would call "very similar" and
# "a different engine". A shop sets its own weights in shop.yaml.
FIELDS: tuple[Field, ...] = (
    _choice("family", "Family", "general", 1.0),
    _choice("purpose", "Purpose", "general", 1.0),
    _choice("cycle", "Cycle", "general", 3.0),
    _number("cylinders", "Cylinders", "general", 2.0, 2.0, 1, FieldUnit(""), FieldUnit(""), ratio=True),
    _number("year", "Year", "general", 0.0, 20.0, 1, FieldUnit(""), FieldUnit("")),
    _number("displacement", "Displacement", "bottom end", 3.0, 2.0, 100_000_000,
            FieldUnit("cu in", 1 / CUBIC_INCH, 1), FieldUnit("cc", 1e6, 0), ratio=True),
    _number("bore", "Bore", "bottom end", 0.5, 1.5, 1_000_000, _INCH3, _MM, ratio=True),
    _number("stroke", "Stroke", "bottom end", 0.5, 1.5, 1_000_000, _INCH3, _MM, ratio=True),
    _number("compression_ratio", "Compression ratio", "bottom end", 2.0, 4.0, 100_000, _RATIO, _RATIO),
    _choice("compression_source", "Compression ratio from", "bottom end", 0.0),
    _number("effective_compression_ratio", "Dynamic CR (seat timing)", "bottom end", 1.0, 3.0, 100_000, _RATIO, _RATIO),
    _number("intake_duration_050", "Intake duration at 0.050 in", "cam and valves", 1.5, 40.0, 10,
            _DEGREES, _DEGREES),
    _number("exhaust_duration_050", "Exhaust duration at 0.050 in", "cam and valves", 0.5, 40.0, 10,
            _DEGREES, _DEGREES),
    _number("intake_duration_1mm", "Intake duration at 1 mm", "cam and valves", 1.5, 40.0, 10,
            _DEGREES, _DEGREES),
    _number("exhaust_duration_1mm", "Exhaust duration at 1 mm", "cam and valves", 0.5, 40.0, 10,
            _DEGREES, _DEGREES),
    _number("lobe_separation", "Lobe separation", "cam and valves", 0.5, 10.0, 10, _DEGREES1, _DEGREES1),
    _number("cam_advance", "Cam advance", "cam and valves", 0.25, 8.0, 10, _DEGREES1, _DEGREES1),
    _number("valve_lift", "Intake valve lift", "cam and valves", 1.0, 0.005, 1_000_000, _INCH3, _MM),
    _number("valve_diameter", "Intake valve diameter", "cam and valves", 0.5, 1.5, 1_000_000,
            _INCH3, _MM, ratio=True),
    _number("head_flow", "Head flow at 28 in H₂O", "airflow and fuel", 1.5, 2.0, 1_000_000,
            FieldUnit("cfm", 1 / CUBIC_FOOT_PER_MINUTE, 0), FieldUnit("L/s", 1e3, 1), ratio=True),
    _choice("induction", "Induction", "airflow and fuel", 3.0),
    _choice("fuel_system", "Fuel system", "airflow and fuel", 1.0),
    _choice("fuel", "Fuel", "airflow and fuel", 1.5),
    _choice("fuel_family", "Fuel family", "airflow and fuel", 0.0),
    _choice("octane", "Octane", "airflow and fuel", 0.0),
    _choice("ignition", "Ignition", "airflow and fuel", 0.5),
    _choice("manifold", "Intake manifold", "airflow and fuel", 0.75, optional=True),
    _number("rated_flow", "Carb/throttle flow at 1.5 inHg", "airflow and fuel", 0.75, 2.0, 1_000_000,
            FieldUnit("cfm", 1 / CUBIC_FOOT_PER_MINUTE, 0), FieldUnit("L/s", 1e3, 1), ratio=True, optional=True),
    _number("primary_diameter", "Exhaust primary diameter", "airflow and fuel", 0.5, 1.5, 1_000_000,
            FieldUnit("in", 1 / INCH, 3), FieldUnit("mm", 1e3, 1), ratio=True, optional=True),
    _choice("ignition_system", "Ignition system", "airflow and fuel", 0.25, optional=True),
    _choice("result_source", "Result from", "result", 0.0),
    _choice("correction", "Corrected to", "result", 0.0),
    _number("peak_torque", "Peak torque", "result", 0.0, 2.0, 10,
            FieldUnit("lbf ft", 1 / POUND_FORCE_FOOT, 0), FieldUnit("N m", 1.0, 0), ratio=True),
    _number("peak_torque_speed", "Peak torque rpm", "result", 0.0, 2.0, 60, _RPM, _RPM, ratio=True),
    _number("peak_power", "Peak power", "result", 0.0, 2.0, 1,
            FieldUnit("hp", 1 / MECHANICAL_HORSEPOWER, 0), FieldUnit("kW", 1e-3, 0), ratio=True),
    _number("peak_power_speed", "Peak power rpm", "result", 0.0, 2.0, 60, _RPM, _RPM, ratio=True),
    _number("bmep", "BMEP at peak torque", "result", 0.0, 2.0, 1,
            FieldUnit("psi", 1 / PSI, 0), FieldUnit("kPa", 1e-3, 0), ratio=True),
    _number("specific_power", "Specific power", "result", 0.0, 2.0, 1,
            FieldUnit("hp/cu in", CUBIC_INCH / MECHANICAL_HORSEPOWER, 2), FieldUnit("kW/L", 1e-3 * LITRE, 1),
            ratio=True),
    _number("piston_speed_at_peak_power", "Mean piston speed at peak power", "result", 0.0, 2.0, 1000,
            FieldUnit("ft/min", MINUTE / FOOT, 0), FieldUnit("m/s", 1.0, 1), ratio=True),
)  # fmt: skip

BY_SLUG: Mapping[str, Field] = {f.slug: f for f in FIELDS}
NUMBERS: tuple[Field, ...] = tuple(f for f in FIELDS if f.kind == "number")
CHOICES: tuple[Field, ...] = tuple(f for f in FIELDS if f.kind == "choice")
TEXTS: Mapping[str, str] = {"cam": "Cam", "heads": "Heads", "carburetor": "Carburetor or injection"}
"""Title of each field of a summary that names parts: shown, and neither filtered by nor compared."""


def number_of(summary: Summary, field: Field) -> float | None:
    """Return the value of a number field, rounded to the archive's steps; None where unknown or not finite."""
    value = getattr(summary, field.slug)
    if value is None:
        return None
    steps = steps_of(float(value), field)
    return None if steps is None else steps / field.quantum


def steps_of(value: float, field: Field) -> int | None:
    """Return a value as a number of steps of its field; None when it is not finite or not exact as a float."""
    steps = value * field.quantum
    return round(steps) if abs(steps) < 2**53 else None


def choice_of(summary: Summary, field: Field) -> str | None:
    """Return the value of a choice field; None where unknown or blank."""
    value = getattr(summary, field.slug)
    return " ".join(str(value).split()) or None if value is not None else None


def weights_from(overrides: Mapping[str, object] | None) -> tuple[dict[str, float], dict[str, str]]:
    """Return the default weights with a shop's own over them, and what is wrong with each that cannot be used.

    Parameters
    ----------
    overrides : mapping of field slug to weight, or None
        As read from shop.yaml.

    Returns
    -------
    weights : dict of str to float
        One weight for every field.
    complaints : dict of str to str
        A sentence by field slug; by "" where it concerns all of them. Empty when all was well.
    """
    weights = {f.slug: f.weight for f in FIELDS}
    complaints: dict[str, str] = {}
    for slug, value in (overrides or {}).items():
        if slug not in weights:
            complaints[slug] = f"likeness_weights: there is no field '{slug}'; the fields are {', '.join(weights)}"
        elif isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 100:
            complaints[slug] = f"likeness_weights: the weight of {slug} must be a number from 0 to 100, not {value!r}"
        else:
            weights[slug] = float(value)
    if not any(weights.values()):
        complaints[""] = "likeness_weights: every weight is 0, so the defaults are used"
        weights = {f.slug: f.weight for f in FIELDS}
    return weights, complaints
