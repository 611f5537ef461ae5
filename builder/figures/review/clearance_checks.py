"""Fits and checks against their ranges: the maker's sheet, the shop's rule or, failing both, common practice."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from builder.engine import clearances as engine
from builder.engine.validation import Value
from builder.figures.core import display_units
from builder.figures.core.display_units import (
    System,
    join_unit,
    mean_quantity,
    quantity_in_system,
    system_of_unit,
    written_mean,
    written_number,
    written_text,
)
from builder.figures.core.guard import Guard
from builder.figures.core.inputs import numbered
from builder.figures.core.types import Figure, FigurePosition, FigureSheet
from builder.figures.core.working_text import outlier_index
from builder.figures.definitions.clearances import (
    CLEARANCES,
    FITS_AT,
    Direction,
    bore_differences,
    is_resolved,
)
from builder.figures.definitions.fasteners import joint_labels
from builder.figures.review.guideline_defaults import GuidelineValue, guideline_value
from builder.record.models.assembly import Checks, Fits
from builder.record.models.build import Build
from builder.record.models.build_yaml import FUEL_FAMILIES
from builder.record.models.fields import notes_of, title_of
from builder.record.models.shop import Shop
from builder.record.models.work import BoreGauging
from builder.record.quantities.digits import is_above, is_below, rounded
from builder.record.quantities.readings import Accepted, Reading
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import NUMBER, Quantity, factor, to_unit
from builder.record.wording import capitalize

Verdict = Literal["within spec", "out of spec", "out of spec, accepted", "no spec"]
CheckKind = Literal["fit", "check", "joint", "bore", "finish"]

_CHECKS_AT = "assembly.checks"
_FINISH_AT = "work.surface_finish"
_OIL_CLEARANCE_TOLERANCE = 0.25
"""How far an oil clearance may be from 0.001 of the journal, as a part of it, without a caution (common practice, no
source)."""


@dataclass(frozen=True)
class _GuidedReading:
    """A reading outside fits and checks: its title, and the guidelines for the least and the most of it."""

    path: str
    title: str
    kind: CheckKind
    least: str | None = None
    most: str | None = None


_GUIDED = (
    _GuidedReading(f"{_FINISH_AT}.bores.ra", "Bore finish, Ra", "finish"),
    _GuidedReading(f"{_FINISH_AT}.bores.rz", "Bore finish, Rz", "finish"),
    _GuidedReading(f"{_FINISH_AT}.bores.rpk", "Bore finish, Rpk", "finish", most="most_bore_rpk"),
    _GuidedReading(f"{_FINISH_AT}.bores.rk", "Bore finish, Rk", "finish", most="most_bore_rk"),
    _GuidedReading(f"{_FINISH_AT}.bores.rvk", "Bore finish, Rvk", "finish", least="least_bore_rvk"),
    _GuidedReading(f"{_FINISH_AT}.bores.crosshatch", "Crosshatch", "finish", "least_crosshatch", "most_crosshatch"),
    _GuidedReading(f"{_FINISH_AT}.decks.ra", "Deck finish, Ra", "finish", most="most_face_ra"),
    _GuidedReading(f"{_FINISH_AT}.decks.rz", "Deck finish, Rz", "finish"),
    _GuidedReading(f"{_FINISH_AT}.heads.ra", "Head face finish, Ra", "finish", most="most_face_ra"),
    _GuidedReading(f"{_FINISH_AT}.heads.rz", "Head face finish, Rz", "finish"),
    _GuidedReading("bottom_end.oil_system.pickup_clearance", "Oil pickup to pan floor", "check",
                   "least_pickup_clearance", "most_pickup_clearance"),
)  # fmt: skip


@dataclass(frozen=True)
class Measurement:
    """One reading: at which position, its value (SI), number and unit as printed, and whether it lies out of range.

    ``value`` is rounded as ``number`` is, so that the verdict agrees with what is printed.
    """

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
    """What is allowed (SI; either end may be missing), as text, and whose rule it is (empty where not recorded)."""

    minimum: float | None = None
    maximum: float | None = None
    text: str = ""
    authority: str = ""

    @property
    def authority_text(self) -> str:
        """Return whose rule it is, in words."""
        return self.authority or ("as recorded" if self else "")

    def out_of_range(self, value: float, step: float) -> bool:
        """Return whether a value written to ``step`` lies outside; both ends are inside."""
        return (self.minimum is not None and is_below(value, self.minimum, step)) or (
            self.maximum is not None and is_above(value, self.maximum, step)
        )

    def __bool__(self) -> bool:
        return self.minimum is not None or self.maximum is not None


@dataclass(frozen=True, kw_only=True)
class CheckedClearance:
    """One clearance or check, held against its range.

    ``path`` is where the record holds it, ``unit`` the unit it was written in, ``axis`` what its positions are
    (None for a single value), ``outlier`` the label of the position that stands out. ``computed``: nobody
    gauged it, it follows from the parts.
    """

    path: str
    title: str
    kind: CheckKind
    dimension: str
    unit: str
    readings: tuple[Measurement, ...]
    allowed: AllowedRange
    mean_text: str
    axis: str | None = None
    outlier: str | None = None
    accepted: Accepted | None = None
    by: str | None = None
    note: str | None = None
    computed: bool = False
    where: tuple[Path, int] | None = None

    @property
    def figure_slug(self) -> str | None:
        """Return the slug of the figure that the clearance belongs to; None where it has none."""
        return _FIGURE_OF_CHECK.get(self.path.rpartition(".")[2])

    @property
    def caution_name(self) -> str:
        """Return what the record calls a caution on it: the name of its field."""
        if ".other." in self.path:
            return "other"
        if self.path.startswith(f"{_FINISH_AT}."):
            return self.path.removeprefix(f"{_FINISH_AT}.").replace(".", "_")
        return self.path.rpartition(".")[2].removesuffix("_at_most")

    @property
    def verdict(self) -> Verdict:
        """Return whether all readings are within what is allowed."""
        if not self.allowed:
            return "no spec"
        if not self.out_of_range:
            return "within spec"
        return "out of spec, accepted" if self.accepted else "out of spec"

    @property
    def passes(self) -> bool:
        """Return whether there is nothing to caution about."""
        return not self.out_of_range or self.accepted is not None

    @property
    def minimum(self) -> Measurement:
        """Return the lowest reading."""
        return min(self.readings, key=lambda reading: reading.value)

    @property
    def maximum(self) -> Measurement:
        """Return the highest reading."""
        return max(self.readings, key=lambda reading: reading.value)

    @property
    def mean(self) -> float:
        """Return the mean of all readings, SI."""
        return float(np.mean([reading.value for reading in self.readings]))

    @property
    def position_in_range(self) -> float | None:
        """Return where the mean lies: 0 at the least allowed, 1 at the most; None for a range with one end."""
        minimum, maximum = self.allowed.minimum, self.allowed.maximum
        if minimum is None or maximum is None or minimum >= maximum:
            return None
        return float(engine.position_in_range(self.mean, minimum, maximum))

    @property
    def out_of_range(self) -> tuple[Measurement, ...]:
        """Return the readings out of range."""
        return tuple(reading for reading in self.readings if reading.out_of_range)

    def in_unit(self, si: float) -> float:
        """Return a value in the unit that the shop wrote, for a chart."""
        return si if self.dimension == NUMBER or not self.unit else to_unit(si, self.unit, self.dimension)

    @property
    def text(self) -> str:
        """Return the readings, the range and the verdict in one sentence."""
        text = f"{self.title}: {self._readings_text}"
        if not self.allowed:
            return f"{text}; no spec recorded."
        allowed = f"allowed {self.allowed.text} ({self.allowed.authority_text})"
        if not self.out_of_range:
            return f"{text}; {allowed}."
        text = f"{text}; {self._out_of_range_text}; {allowed}"
        if self.accepted:
            return f"{text}; accepted by {self.accepted.by} because {self.accepted.why}."
        return f"{text}."

    @property
    def violation_text(self) -> str:
        """Return what is out of range, without the range."""
        if self.axis:
            return f"{self.title}: {self._out_of_range_text}"
        return f"{self.title}: {self._readings_text}, out of spec"

    @property
    def rule_text(self) -> str:
        """Return what is allowed, and by whom."""
        return f"allowed {self.allowed.text}, {self.allowed.authority_text}"

    @property
    def _out_of_range_text(self) -> str:
        if not self.axis:
            return "out of spec"
        positions = ", ".join(f"{self.axis} {reading.label} at {reading.text}" for reading in self.out_of_range)
        return f"{positions}: out of spec"

    @property
    def _readings_text(self) -> str:
        if len(self.readings) == 1:
            return self.readings[0].text
        if self.minimum.text == self.maximum.text:
            return f"{self.minimum.text} at all {len(self.readings)}"
        return f"{self.minimum.text} to {self.maximum.text}, mean {self.mean_text}"


def check_clearances(build: Build, shop: Shop, sheet: FigureSheet, guard: Guard) -> tuple[CheckedClearance, ...]:
    """Return every clearance and check of the record against its range, in the order of the record.

    Clearances that nobody gauged are taken from the figures of the sheet, which follow from the parts.
    """
    return (
        *_fit_checks(build, shop, sheet, guard),
        *guard.collect("the bore gauge card", lambda: _bore_checks(build, shop)),
        *_guided_readings(build, shop, guard),
        *_bolt_stretch_checks(build, guard),
        *_assembly_checks(build, shop, guard),
    )


def _fit_checks(build: Build, shop: Shop, sheet: FigureSheet, guard: Guard) -> Iterator[CheckedClearance]:
    fits = build.get(FITS_AT)
    for name in Fits.model_fields:
        if name in CLEARANCES:
            yield from guard.collect(_fit_title(name), partial(_fit_check, build, shop, sheet, name))
    for index, fit in enumerate(fits.other if fits else ()):
        path, title = f"{FITS_AT}.other.{index}", capitalize(fit.name)
        yield from guard.collect(title, partial(_check_reading, build, path, title, "fit", fit.reading, "reading"))


def _fit_title(name: str) -> str:
    return title_of(name, Fits.model_fields[name])


def _fit_check(build: Build, shop: Shop, sheet: FigureSheet, name: str) -> Iterator[CheckedClearance]:
    path, title, reading = f"{FITS_AT}.{name}", _fit_title(name), build.get(f"{FITS_AT}.{name}")
    rule = _guideline_range(build, shop, name)
    if isinstance(reading, Reading) and reading.preferred:
        yield from _check_reading(build, path, title, "fit", reading, CLEARANCES[name], rule)
    elif name in sheet:
        yield _check_computed(build, path, title, sheet[name], reading, rule)


def _check_reading(
    build: Build,
    path: str,
    title: str,
    kind: CheckKind,
    reading: Reading,
    axis: str | None,
    rule: AllowedRange | None = None,
) -> Iterator[CheckedClearance]:
    if not reading.preferred:
        return
    allowed = recorded_range(reading) or rule or AllowedRange()
    values = reading.values
    quantities = reading.preferred if reading.measured else (mean_quantity(reading),)
    single = len(values) == 1
    labels = ("",) if single else numbered(len(values))
    readings = tuple(
        Measurement(
            label,
            float(value),
            written_number(quantity),
            printed_unit(quantity.unit),
            allowed.out_of_range(float(value), quantity.step),
        )
        for label, value, quantity in zip(labels, values, quantities, strict=True)
    )
    outlier = outlier_index(values, max(quantity.step for quantity in reading.preferred)) if len(values) > 2 else None
    yield CheckedClearance(
        path=path,
        title=title,
        kind=kind,
        dimension=reading.dimension,
        unit=reading.preferred[0].unit,
        readings=readings,
        allowed=allowed,
        mean_text=written_mean(reading),
        axis=None if single else axis or "reading",
        outlier=None if outlier is None else labels[outlier],
        accepted=reading.accepted,
        by=reading.by,
        note=reading.note,
        where=build.where(path),
    )


def _guided_readings(build: Build, shop: Shop, guard: Guard) -> Iterator[CheckedClearance]:
    for item in _GUIDED:
        reading = build.get(item.path)
        if isinstance(reading, Reading) and reading.preferred:
            rule = _guided_range(shop, item, reading.preferred[0])
            yield from guard.collect(
                item.title,
                partial(_check_reading, build, item.path, item.title, item.kind, reading, "cylinder", rule),
            )


def _guided_range(shop: Shop, item: _GuidedReading, written: Quantity) -> AllowedRange | None:
    """Return the range of the guidelines in the system that the reading was written in; a guideline of 0 is none."""
    ends: list[Quantity | None] = []
    authority = ""
    for name in (item.least, item.most):
        rule = guideline_value(shop, name) if name else None
        if rule is None or rule.written is None or rule.value <= 0:
            ends.append(None)
            continue
        ends.append(quantity_in_system(rule.written, system_of_unit(written)))
        authority = rule.authority
    least, most = ends
    if least and most:
        text = f"{least.number} to {written_text(most)}"
    else:
        text = " ".join(f"{word} {written_text(end)}" for word, end in (("at least", least), ("at most", most)) if end)
    return AllowedRange(least.si if least else None, most.si if most else None, text, authority) if text else None


def recorded_range(reading: Reading | None) -> AllowedRange:
    """Return what the record itself allows."""
    if reading is None or (reading.minimum is None and reading.maximum is None):
        return AllowedRange()
    if reading.allowed:
        text = f"{reading.allowed.minimum.number} to {written_text(reading.allowed.maximum)}"
    else:
        ends = (("at least", reading.at_least), ("at most", reading.at_most))
        text = " and ".join(f"{word} {written_text(end)}" for word, end in ends if end)
    return AllowedRange(
        reading.minimum.si if reading.minimum else None,
        reading.maximum.si if reading.maximum else None,
        text.replace("-", "−"),
        reading.rule or "",
    )


def allowed_range(build: Build, shop: Shop, path: str) -> AllowedRange:
    """Return what is allowed of the reading at a path: what the record states, else the guideline that applies."""
    reading = build.get(path)
    recorded = recorded_range(reading if isinstance(reading, Reading) else None)
    if recorded:
        return recorded
    group, _, name = path.rpartition(".")
    rule = _guideline_range(build, shop, name) if group == FITS_AT else None
    if group == _CHECKS_AT and name in _MINIMUM_RULES:
        guideline = guideline_value(shop, _MINIMUM_RULES[name])
        text = f"at least {display_units.LENGTH.text(guideline.value, display_units.system_for(build, shop))}"
        rule = AllowedRange(guideline.value, None, text, guideline.authority)
    return rule or AllowedRange()


def _check_computed(
    build: Build, path: str, title: str, figure: Figure, reading: Reading | None, rule: AllowedRange | None
) -> CheckedClearance:
    allowed = recorded_range(reading) or rule or AllowedRange()
    positions = figure.positions or (
        FigurePosition("", figure.value, figure.number_with_uncertainty, figure.unit, figure.shown, figure.step),
    )
    readings = tuple(
        Measurement(p.label, p.shown, p.number, p.unit, allowed.out_of_range(p.shown, p.step)) for p in positions
    )
    return CheckedClearance(
        path=path,
        title=title,
        kind="fit",
        dimension="length",
        unit="in" if figure.unit == "in" else "mm",
        readings=readings,
        allowed=allowed,
        mean_text=figure.display,
        axis=figure.axis,
        outlier=figure.outlier,
        accepted=reading.accepted if reading else None,
        computed=True,
        where=build.where(path) if reading else figure.where,
    )


def _guideline_range(build: Build, shop: Shop, name: str) -> AllowedRange | None:
    """Return what the shop's rule or common practice asks of a clearance that has no range of its own."""
    if name == "top_ring_gap" and (bore := _mean_quantity(build, "bottom_end.block.bores")):
        rule = guideline_value(shop, _ring_gap_guideline(build))
        if rule.value <= 0:
            return None
        minimum = _length_as_shown(float(engine.ring_gap_rule(bore.si, rule.value)), bore)
        authority = f"{rule.authority}: {rule.text} of the bore"
        return AllowedRange(minimum, None, f"at least {_length_text(minimum, bore)}", authority)
    if name == "second_ring_gap" and (top := _mean_quantity(build, f"{FITS_AT}.top_ring_gap")):
        is_pressed = build.is_boosted or build.get("top_end.induction.nitrous") is not None
        rule = guideline_value(shop, f"{'boosted_' if is_pressed else ''}second_ring_gap_over_top")
        if rule.value <= 0:
            return None
        minimum = _length_as_shown(rule.value * top.si, top)
        authority = f"{rule.authority}: {rule.text} × the top ring gap"
        return AllowedRange(minimum, None, f"at least {_length_text(minimum, top)}", authority)
    journals = {"main_oil_clearance": "main_journals", "rod_oil_clearance": "rod_journals"}.get(name)
    if journals and (journal := _mean_quantity(build, f"bottom_end.crankshaft.{journals}")):
        rule = guideline_value(shop, "oil_clearance_per_journal")
        if rule.value <= 0:
            return None
        middle = float(engine.oil_clearance_rule(journal.si, rule.value))
        minimum, maximum = (
            _length_as_shown(middle * (1 + sign * _OIL_CLEARANCE_TOLERANCE), journal) for sign in (-1, 1)
        )
        text = f"{_length_text(minimum, journal)} to {_length_text(maximum, journal)}"
        authority = f"{rule.authority}: {rule.text} of the journal, ±25 %"
        return AllowedRange(minimum, maximum, text, authority)
    return None


def _ring_gap_guideline(build: Build) -> str:
    """Return the name of the guideline for the top ring gap: the widest that applies to how the engine is fed."""
    if build.get("top_end.induction.nitrous") is not None:
        return "nitrous_ring_gap_per_bore"
    if build.is_boosted:
        return "boosted_ring_gap_per_bore"
    fuel = build.build.engine.fuel
    on_alcohol = fuel is not None and FUEL_FAMILIES[fuel.kind] == "alcohol"
    return "alcohol_ring_gap_per_bore" if on_alcohol else "ring_gap_per_bore"


def _mean_quantity(build: Build, path: str) -> Quantity | None:
    """Return the mean of a reading in the unit it was written in; None unless it is above zero."""
    reading = build.get(path)
    if not isinstance(reading, Reading) or not reading.preferred or reading.values.mean() <= 0:
        return None
    return replace(reading.preferred[0], si=float(reading.values.mean()))


def _length_text(si: float, written: Quantity) -> str:
    """Return a length in the system that another one was written in."""
    return display_units.LENGTH.text(si, system_of_unit(written))


def _length_as_shown(si: float, written: Quantity) -> float:
    """Return a length rounded to the digits that `_length_text` writes: the limit is what the page says."""
    return display_units.LENGTH.as_shown(si, system_of_unit(written))


def _unresolved_text(card: BoreGauging, shop: Shop, along: Direction) -> str | None:
    """Return the bores whose taper or out-of-round the gauge cannot tell from zero; None where it can."""
    bores = bore_differences(card, shop, along)
    if bores is None:
        return None
    differences = np.subtract(bores.highest, bores.lowest) * factor(card.unit, "length")[0]
    resolved = is_resolved(differences, bores.least)
    labels = [label for label, known in zip(bores.cylinders, resolved, strict=True) if not known]
    if not labels:
        return None
    named = f": {'bore' if len(labels) == 1 else 'bores'} {', '.join(labels)}"
    where = named if len(labels) < len(resolved) else " in any bore"
    return f"not resolved by the gauge{where}"


def _bore_checks(build: Build, shop: Shop) -> Iterator[CheckedClearance]:
    card = build.get("work.bore_gauging")
    if card is None:
        return
    scale, _ = factor(card.unit, "length")
    kinds: tuple[tuple[str, str, Callable[[npt.ArrayLike], Value], Quantity | None, int, Direction], ...] = (
        ("taper", "Bore taper", engine.bore_taper, card.taper_at_most, 2, "depth"),
        ("out_of_round", "Bore out of round", engine.bore_out_of_round, card.out_of_round_at_most, 1, "axis"),
    )
    system: System = "inch" if card.unit == "in" else "metric"
    length = display_units.LENGTH
    for name, title, measure, most, fewest_depths, along in kinds:
        gauged = {str(bore.cylinder): [[d.across, d.along] for d in bore.depths] for bore in card.cylinders}
        # A reading of zero is a problem of its own, with its line.
        values = {
            label: length.as_shown(float(np.ravel(measure([depths]))[0]) * scale, system)
            for label, depths in gauged.items()
            if len(depths) >= fewest_depths and np.min(depths) > 0
        }
        if not values:
            continue
        allowed = AllowedRange()
        if most:
            allowed = AllowedRange(None, most.si, f"at most {written_text(most)}", "the gauge card")
        path = f"work.bore_gauging.{name}_at_most"
        yield CheckedClearance(
            path=path,
            title=title,
            kind="bore",
            dimension="length",
            unit=card.unit,
            readings=tuple(
                Measurement(
                    label,
                    value,
                    length.text(value, system, with_unit=False),
                    length.label(system),
                    allowed.out_of_range(value, length.last_digit(system)),
                )
                for label, value in values.items()
            ),
            allowed=allowed,
            mean_text=length.text(float(np.mean(list(values.values()))), system),
            axis="cylinder" if len(values) > 1 else None,
            by=card.by,
            note=_unresolved_text(card, shop, along),
            where=build.where(path),
        )


def _bolt_stretch_checks(build: Build, guard: Guard) -> Iterator[CheckedClearance]:
    joints = build.get("assembly.fasteners") or ()
    for index, (joint, label) in enumerate(zip(joints, joint_labels(joints), strict=True)):
        if joint.stretch is not None:
            path, title = f"assembly.fasteners.{index}.stretch", f"{capitalize(label)}, stretch"
            yield from guard.collect(title, partial(_check_reading, build, path, title, "joint", joint.stretch, "bolt"))


def _assembly_checks(build: Build, shop: Shop, guard: Guard) -> Iterator[CheckedClearance]:
    checks: Checks | None = build.get(_CHECKS_AT)
    if checks is None:
        return
    for name, info in Checks.model_fields.items():
        reading = getattr(checks, name)
        if isinstance(reading, Reading) and reading.preferred:
            title = title_of(name, info)
            yield from guard.collect(title, partial(_assembly_check, build, shop, name, title, reading))
    for index, check in enumerate(checks.other):
        if check.reading is not None:
            path, title = f"{_CHECKS_AT}.other.{index}", capitalize(check.name)
            checked = partial(_check_reading, build, path, title, "check", check.reading, "reading")
            yield from guard.collect(title, checked)


def _assembly_check(build: Build, shop: Shop, name: str, title: str, reading: Reading) -> Iterator[CheckedClearance]:
    limit = _MINIMUM_RULES.get(name)
    rule = _at_least(guideline_value(shop, limit), reading) if limit else None
    axis = notes_of(Checks.model_fields[name]).axis
    yield from _check_reading(build, f"{_CHECKS_AT}.{name}", title, "check", reading, axis, rule)
    yield from _spread_check(build, shop, name, reading)


_FIGURE_OF_CHECK = {
    **{name: name for name in CLEARANCES},
    "taper_at_most": "bore_taper",
    "out_of_round_at_most": "bore_out_of_round",
    "intake_piston_to_valve": "piston_to_valve",
    "exhaust_piston_to_valve": "piston_to_valve",
    "coil_bind": "coil_bind_clearance",
    "retainer_to_seal": "retainer_to_seal_clearance",
}
"""The figure that each checked clearance belongs to, by the last step of its path."""

_MINIMUM_RULES = {
    "intake_piston_to_valve": "least_intake_piston_to_valve",
    "exhaust_piston_to_valve": "least_exhaust_piston_to_valve",
    "coil_bind": "least_coil_bind",
    "retainer_to_seal": "least_retainer_to_seal",
}


def _at_least(rule: GuidelineValue, reading: Reading) -> AllowedRange:
    text = f"at least {_length_text(rule.value, reading.preferred[0])}"
    return AllowedRange(rule.value, None, text, rule.authority)


def _spread_check(build: Build, shop: Shop, name: str, reading: Reading) -> Iterator[CheckedClearance]:
    """Yield how even the cylinders are: best against worst, whatever their level."""
    values = reading.values
    if len(values) < 2:
        return
    if name == "leak_down":
        rule = guideline_value(shop, "leak_down_spread")
        step = max(quantity.step for quantity in reading.preferred)
        value = float(np.ptp(values))
        number, title = f"{100 * value:.3g}", "Leak-down, best to worst"
        allowed = AllowedRange(None, rule.value / 100, f"at most {join_unit(rule.text, '%')}", rule.authority)
    elif name == "cranking_compression" and values.max() > 0:
        rule = guideline_value(shop, "cranking_spread")
        step = 0.01
        number = rounded(100 * float(values.min() / values.max()), 0)
        value, title = float(number) / 100, "Cranking compression, worst of best"
        minimum_text = join_unit(f"{100 * rule.value:.0f}", "%")
        allowed = AllowedRange(rule.value, None, f"at least {minimum_text}", rule.authority)
    else:
        return
    path = f"{_CHECKS_AT}.{name}"
    measurement = Measurement("", value, number, "%", allowed.out_of_range(value, step))
    yield CheckedClearance(
        path=path,
        title=title,
        kind="check",
        dimension=NUMBER,
        unit="",
        readings=(measurement,),
        allowed=allowed,
        mean_text=measurement.text,
        accepted=reading.accepted,
        by=reading.by,
        where=build.where(path),
    )
