"""Fits and checks against their ranges: the maker's sheet, the shop's rule or, failing both, common practice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from builder.engine import clearances as engine
from builder.figures.core import display_units
from builder.figures.core.display_units import (
    System,
    join_unit,
    mean_quantity,
    system_of_unit,
    written_mean,
    written_number,
    written_text,
)
from builder.figures.core.inputs import numbered
from builder.figures.core.types import Figure, FigureSheet, Position
from builder.figures.core.working_text import outlier_index
from builder.figures.definitions.clearances import CLEARANCES, FITS_AT
from builder.figures.definitions.fasteners import joint_labels
from builder.figures.review.guideline_defaults import GuidelineValue, guideline_value
from builder.record.models.assembly import Checks, Fits
from builder.record.models.build import Build
from builder.record.models.fields import RecordModel, notes_of, title_of
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Accepted, Reading
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import NUMBER, Quantity, factor, to_unit

Verdict = Literal["in range", "out of range", "out of range, accepted", "no range"]

_CHECKS_AT = "assembly.checks"
_NBSP = "\N{NO-BREAK SPACE}"
_OIL_CLEARANCE_TOLERANCE = 0.25
"""How far an oil clearance may lie from 0.001 of the journal before it calls for a second look."""


@dataclass(frozen=True)
class Measurement:
    """One reading: at which position, its value (SI), number and unit as printed, and whether it lies out of range."""

    label: str
    value: float
    number: str
    unit: str
    out_of_range: bool

    @property
    def text(self) -> str:
        """Return number and unit as printed."""
        return join_unit(self.number, self.unit)


@dataclass(frozen=True)
class AllowedRange:
    """What is allowed (SI; either end may be missing), in words, and whose rule it is."""

    minimum: float | None = None
    maximum: float | None = None
    text: str = ""
    authority: str = ""

    def out_of_range(self, value: float) -> bool:
        """Whether a value lies outside; both ends are inside, whatever the last bit of a float says."""
        slack = 1e-9 * max(abs(value), abs(self.minimum or 0.0), abs(self.maximum or 0.0))
        return (self.minimum is not None and value < self.minimum - slack) or (
            self.maximum is not None and value > self.maximum + slack
        )

    def __bool__(self) -> bool:
        return self.minimum is not None or self.maximum is not None


@dataclass(frozen=True)
class CheckedClearance:
    """One clearance or check, judged.

    ``path`` is where the record holds it, ``unit`` the unit it was written in, ``axis`` what its positions are
    (None for a single value), ``odd`` the label of the position that stands out.
    """

    path: str
    title: str
    kind: Literal["fit", "check", "joint", "bore"]
    dimension: str
    unit: str
    readings: tuple[Measurement, ...]
    allowed: AllowedRange
    verdict: Verdict
    mean_text: str
    axis: str | None = None
    outlier: str | None = None
    accepted: Accepted | None = None
    by: str | None = None
    note: str | None = None
    computed: bool = False
    """Whether nobody gauged it: it follows from the parts."""
    where: tuple[Path, int] | None = None

    @property
    def minimum(self) -> Measurement:
        """The least reading."""
        return min(self.readings, key=lambda at: at.value)

    @property
    def maximum(self) -> Measurement:
        """The most."""
        return max(self.readings, key=lambda at: at.value)

    @property
    def mean(self) -> float:
        """The mean of all readings, SI."""
        return float(np.mean([at.value for at in self.readings]))

    @property
    def spread(self) -> float:
        """Most less least, SI."""
        return self.maximum.value - self.minimum.value

    @property
    def position_in_range(self) -> float | None:
        """Where the mean lies in its range: 0 at the least allowed, 1 at the most; None for a range with one end."""
        least, most = self.allowed.minimum, self.allowed.maximum
        if least is None or most is None or least >= most:
            return None
        return float(engine.position_in_range(self.mean, least, most))

    @property
    def out_of_range(self) -> tuple[Measurement, ...]:
        """The readings out of range."""
        return tuple(at for at in self.readings if at.out_of_range)

    @property
    def passes(self) -> bool:
        """Whether there is nothing to caution about."""
        return self.verdict != "out of range"

    def in_unit(self, si: float) -> float:
        """A value in the unit that the shop wrote, for a drawing."""
        return si if self.dimension == NUMBER or not self.unit else to_unit(si, self.unit, self.dimension)

    @property
    def text(self) -> str:
        """What was found, against what, and what came of it: one sentence."""
        found = f"{self.title}: {self._readings_text}"
        if not self.allowed:
            return f"{found}; no range was recorded."
        allowed = f"allowed {self.allowed.text} ({self.allowed.authority})"
        if self.verdict == "in range":
            return f"{found}; {allowed}."
        said = f"{found}; {self._out_of_range_text}; {allowed}"
        if self.verdict == "out of range, accepted" and self.accepted:
            return f"{said}; accepted by {self.accepted.by} because {self.accepted.why}."
        return f"{said}."

    @property
    def violation_text(self) -> str:
        """What is out of range, without the range."""
        return (
            f"{self.title}: {self._out_of_range_text}"
            if self.axis
            else f"{self.title}: {self._readings_text}, out of range"
        )

    @property
    def rule_text(self) -> str:
        """What is allowed, and by whom."""
        return f"allowed {self.allowed.text}, {self.allowed.authority}"

    @property
    def _out_of_range_text(self) -> str:
        if not self.axis:
            return "out of range"
        places = ", ".join(f"{self.axis} {at.label} at {at.text}" for at in self.out_of_range)
        return f"{places}: out of range"

    @property
    def _readings_text(self) -> str:
        if len(self.readings) == 1:
            return self.readings[0].text
        if self.minimum.text == self.maximum.text:
            return f"{self.minimum.text} at all {len(self.readings)}"
        return f"{self.minimum.text} to {self.maximum.text}, mean {self.mean_text}"


def check_clearances(build: Build, shop: Shop, sheet: FigureSheet | None = None) -> tuple[CheckedClearance, ...]:
    """Every clearance and check of the record against its range, in the order of the record.

    With the ``sheet`` at hand, clearances that nobody gauged are judged as they follow from the parts.
    """
    return (
        *_fit_checks(build, shop, sheet),
        *_bore_checks(build),
        *_bolt_stretch_checks(build),
        *_assembly_checks(build, shop),
    )


def _fit_checks(build: Build, shop: Shop, sheet: FigureSheet | None) -> Iterator[CheckedClearance]:
    fits = build.get(FITS_AT)
    for name, info in Fits.model_fields.items():
        if name not in CLEARANCES:
            continue
        path, title = f"{FITS_AT}.{name}", title_of(name, info)
        reading = getattr(fits, name) if fits else None
        rule = _guideline_range(build, shop, name)
        figure = sheet.get(name) if sheet else None
        if isinstance(reading, Reading) and reading.preferred:
            yield _check_reading(build, path, title, "fit", reading, CLEARANCES[name], rule)
        elif figure is not None:
            yield _check_computed(build, path, title, figure, reading, rule)
    for index, other in enumerate(fits.other if fits else ()):
        if other.reading.preferred:
            yield _check_reading(
                build, f"{FITS_AT}.other.{index}", _capitalise(other.name), "fit", other.reading, "reading"
            )


def _check_reading(
    build: Build,
    path: str,
    title: str,
    kind: Literal["fit", "check", "joint", "bore"],
    reading: Reading,
    axis: str | None,
    rule: AllowedRange | None = None,
) -> CheckedClearance:
    limits = recorded_range(reading) or rule or AllowedRange()
    values = reading.values
    quantities = reading.preferred if reading.measured else (mean_quantity(reading),)
    labels = numbered(len(values)) if len(values) > 1 else ("",)
    readings = tuple(
        Measurement(
            label,
            float(value),
            written_number(quantity),
            printed_unit(quantity.unit),
            limits.out_of_range(float(value)),
        )
        for label, value, quantity in zip(labels, values, quantities, strict=True)
    )
    odd = outlier_index(values, max(quantity.step for quantity in reading.preferred)) if len(values) > 2 else None
    return CheckedClearance(
        path, title, kind, reading.dimension, reading.preferred[0].unit, readings, limits,
        _verdict(limits, readings, reading.accepted), written_mean(reading),
        (axis or "reading") if len(values) > 1 else None,
        None if odd is None else labels[odd],
        reading.accepted, reading.by, reading.note, where=build.where(path),
    )  # fmt: skip


def _verdict(limits: AllowedRange, readings: tuple[Measurement, ...], accepted: Accepted | None) -> Verdict:
    if not limits:
        return "no range"
    if not any(at.out_of_range for at in readings):
        return "in range"
    return "out of range, accepted" if accepted else "out of range"


def recorded_range(reading: Reading | None) -> AllowedRange:
    """What the record itself allows."""
    if reading is None or (reading.least is None and reading.most is None):
        return AllowedRange()
    if reading.allowed:
        text = f"{reading.allowed.least.number} to {written_text(reading.allowed.most)}"
    else:
        ends = (("at least", reading.at_least), ("at most", reading.at_most))
        text = " and ".join(f"{word} {written_text(end)}" for word, end in ends if end)
    return AllowedRange(
        reading.least.si if reading.least else None,
        reading.most.si if reading.most else None,
        text.replace("-", "−"),
        reading.rule or "as recorded",
    )


def _check_computed(
    build: Build, path: str, title: str, figure: Figure, reading: Reading | None, rule: AllowedRange | None
) -> CheckedClearance:
    limits = recorded_range(reading) or rule or AllowedRange()
    positions = figure.positions or (Position("", figure.value, figure.number_with_uncertainty, figure.unit),)
    readings = tuple(Measurement(p.label, p.value, p.number, p.unit, limits.out_of_range(p.value)) for p in positions)
    accepted = reading.accepted if reading else None
    where = build.where(path) if reading else next((k.where for k in figure.inputs if k.where), None)
    unit = "in" if figure.unit == "in" else "mm"
    return CheckedClearance(
        path, title, "fit", "length", unit, readings, limits, _verdict(limits, readings, accepted), figure.display,
        figure.axis, figure.outlier, accepted, computed=True, where=where,
    )  # fmt: skip


def _mean(build: Build, path: str) -> tuple[float, Quantity] | None:
    reading = build.get(path)
    if not isinstance(reading, Reading) or not reading.preferred or reading.values.mean() <= 0:
        return None
    return float(reading.values.mean()), reading.preferred[0]


def _guideline_range(build: Build, shop: Shop, name: str) -> AllowedRange | None:
    """What the shop's habit or common practice asks of a clearance that has no range of its own."""
    if name == "top_ring_gap" and (bore := _mean(build, "bottom_end.block.bores")):
        rule = guideline_value(shop, "ring_gap_per_bore")
        if rule.value <= 0:
            return None
        least = float(engine.ring_gap_rule(bore[0], rule.value))
        return AllowedRange(
            least, None, f"at least {_length(least, bore[1])}", f"{rule.authority}: {rule.text} of the bore"
        )
    journal = {"main_oil_clearance": "main_journals", "rod_oil_clearance": "rod_journals"}.get(name)
    if journal and (diameter := _mean(build, f"bottom_end.crankshaft.{journal}")):
        rule = guideline_value(shop, "oil_clearance_per_journal")
        if rule.value <= 0:
            return None
        middle = float(engine.oil_clearance_rule(diameter[0], rule.value))
        least, most = middle * (1 - _OIL_CLEARANCE_TOLERANCE), middle * (1 + _OIL_CLEARANCE_TOLERANCE)
        text = f"{_length(least, diameter[1])} to {_length(most, diameter[1])}"
        return AllowedRange(least, most, text, f"{rule.authority}: {rule.text} of the journal, a quarter either way")
    return None


def _length(si: float, like: Quantity) -> str:
    return display_units.LENGTH.text(si, system_of_unit(like))


def _bore_checks(build: Build) -> Iterator[CheckedClearance]:
    card = build.get("work.bore_gauging")
    if card is None:
        return
    scale, _ = factor(card.unit, "length")
    kinds = (
        ("taper", "Bore taper", engine.bore_taper, card.taper_at_most, 2),
        ("out_of_round", "Bore out of round", engine.bore_out_of_round, card.out_of_round_at_most, 1),
    )
    for name, title, measure, most, fewest in kinds:
        gauged = {str(bore.cylinder): [[d.across, d.along] for d in bore.depths] for bore in card.cylinders}
        # A reading of nought is a problem of its own, with its line.
        good = {label: depths for label, depths in gauged.items() if len(depths) >= fewest and np.min(depths) > 0}
        if not good:
            continue
        places = {label: float(np.ravel(measure([depths]))[0]) * scale for label, depths in good.items()}
        limits = (
            AllowedRange(None, most.si, f"at most {written_text(most)}", "the gauge card") if most else AllowedRange()
        )
        yield _from_values(
            build, f"work.bore_gauging.{name}_at_most", title, "bore", places, card.unit, limits, card.by
        )


def _from_values(
    build: Build,
    path: str,
    title: str,
    kind: Literal["check", "bore"],
    places: dict[str, float],
    unit: str,
    limits: AllowedRange,
    by: str | None = None,
) -> CheckedClearance:
    system: System = "inch" if unit == "in" else "metric"
    length = display_units.LENGTH
    readings = tuple(
        Measurement(
            label,
            value,
            length.text(value, system, with_unit=False),
            length.label(system),
            limits.out_of_range(value),
        )
        for label, value in places.items()
    )
    mean = length.text(float(np.mean(list(places.values()))), system)
    return CheckedClearance(
        path, title, kind, "length", unit, readings, limits, _verdict(limits, readings, None), mean,
        "cylinder" if len(readings) > 1 else None, by=by, where=build.where(path),
    )  # fmt: skip


def _bolt_stretch_checks(build: Build) -> Iterator[CheckedClearance]:
    joints = build.get("assembly.fasteners") or ()
    for index, (joint, label) in enumerate(zip(joints, joint_labels(joints), strict=True)):
        if joint.stretch is not None and joint.stretch.preferred:
            path = f"assembly.fasteners.{index}.stretch"
            yield _check_reading(build, path, f"{_capitalise(label)}, stretch", "joint", joint.stretch, "bolt")


def _assembly_checks(build: Build, shop: Shop) -> Iterator[CheckedClearance]:
    checks: Checks | None = build.get(_CHECKS_AT)
    if checks is None:
        return
    for name, info in Checks.model_fields.items():
        reading = getattr(checks, name)
        if not isinstance(reading, Reading) or not reading.preferred:
            continue
        path, title = f"{_CHECKS_AT}.{name}", title_of(name, info)
        limit = _MINIMUM_RULES.get(name)
        rule = _at_least(guideline_value(shop, limit), reading) if limit else None
        yield _check_reading(build, path, title, "check", reading, notes_of(info).axis, rule)
        yield from _check_spread(build, shop, checks, name, reading)
    for index, other in enumerate(checks.other):
        if other.reading is not None and other.reading.preferred:
            path = f"{_CHECKS_AT}.other.{index}"
            yield _check_reading(build, path, _capitalise(other.name), "check", other.reading, "reading")


FIGURE_OF_CHECK = {
    **{name: name for name in CLEARANCES},
    "taper_at_most": "bore_taper",
    "out_of_round_at_most": "bore_out_of_round",
    "intake_piston_to_valve": "piston_to_valve",
    "exhaust_piston_to_valve": "piston_to_valve",
    "coil_bind": "coil_bind_clearance",
}
"""The figure that each judged fit or check belongs to, by the last step of its path."""

_MINIMUM_RULES = {
    "intake_piston_to_valve": "least_intake_piston_to_valve",
    "exhaust_piston_to_valve": "least_exhaust_piston_to_valve",
    "coil_bind": "least_coil_bind",
}


def _at_least(rule: GuidelineValue, reading: Reading) -> AllowedRange:
    return AllowedRange(rule.value, None, f"at least {_length(rule.value, reading.preferred[0])}", rule.authority)


def _check_spread(
    build: Build, shop: Shop, checks: RecordModel, name: str, reading: Reading
) -> Iterator[CheckedClearance]:
    """How even the cylinders are: best against worst, whatever their level."""
    values = reading.values
    if len(values) < 2:
        return
    path = f"{_CHECKS_AT}.{name}"
    if name == "leak_down":
        rule = guideline_value(shop, "leak_down_spread")
        value = float(np.ptp(values))
        number, title = f"{100 * value:.3g}", "Leak-down, best to worst"
        limits = AllowedRange(None, rule.value / 100, f"at most {rule.text}{_NBSP}%", rule.authority)
    elif name == "cranking_compression" and values.max() > 0:
        rule = guideline_value(shop, "cranking_spread")
        value = float(values.min() / values.max())
        number, title = f"{100 * value:.0f}", "Cranking compression, worst of best"
        limits = AllowedRange(rule.value, None, f"at least {100 * rule.value:.0f}{_NBSP}%", rule.authority)
    else:
        return
    readings = (Measurement("", value, number, "%", limits.out_of_range(value)),)
    yield CheckedClearance(
        path, title, "check", NUMBER, "", readings, limits, _verdict(limits, readings, reading.accepted),
        readings[0].text, accepted=reading.accepted, by=reading.by, where=build.where(path),
    )  # fmt: skip


def _capitalise(words: str) -> str:
    return words[:1].upper() + words[1:]
