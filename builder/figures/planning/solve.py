"""What would have to change, one thing at a time, for a figure to come to a wanted value.

The figure is computed as for the record, with the value tried in place of the recorded one and the measurements that
depend on it carried along; a root finder does the rest, so that no second formula is there to differ.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Any, Literal

import numpy as np

from builder.engine.roots import bracketed_root
from builder.engine.validation import Array
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.inputs import Input
from builder.figures.core.types import Caution, Figure, MissingInputs
from builder.figures.definitions import REGISTRY
from builder.figures.evaluate import evaluate, solver_for
from builder.figures.planning.carried import Engine, StaleMeasurement, carry_along, quantity_of_value
from builder.figures.planning.changed_engine import open_cautions, without_dyno_results
from builder.record.build_profile import profile_of
from builder.record.changes import ChangeError, field_info, is_below, measurements, notes_at, with_changes
from builder.record.field_names import common_form
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.problem import did_you_mean
from builder.record.quantities.readings import Reading
from builder.record.quantities.sign import SIGN_OF_DIMENSION
from builder.record.quantities.units import DIMENSIONS, NUMBER, Quantity, UnitProblem, parse_quantity
from builder.record.schema_shape import shape_of
from builder.record.usual_units import plausible_limits, usual_units
from builder.record.wording import capitalize, plain_spaces

Meeting = Literal["mean", "lowest", "highest", "each"]
"""Which cylinders have to meet the wanted value."""

SHOWN = ("compression_ratio", "quench", "effective_compression_ratio")
"""The figures that are shown for every solution."""


@dataclass(frozen=True, kw_only=True)
class Target:
    """A figure and the value wanted of it [SI]."""

    slug: str
    value: float
    text: str

    @property
    def title(self) -> str:
        """Return the title of the figure."""
        return REGISTRY.figures[self.slug].description.title


@dataclass(frozen=True, kw_only=True)
class Solution:
    """One thing that could be changed, and to what."""

    path: str
    title: str
    before: tuple[float, ...]
    """As it is now [SI], at every position; empty where it is not recorded."""
    values: tuple[float, ...] = ()
    """As it would have to be [SI]; empty where no value does it."""
    texts: tuple[str, ...] = ()
    change: str = ""
    """By how much it changes, as text."""
    impossible: str = ""
    """Why it cannot be done; empty where it can."""
    notes: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    """What else it leads to; see `SHOWN`."""
    new_cautions: tuple[Caution, ...] = ()
    cautions: tuple[Caution, ...] = ()
    stale: tuple[StaleMeasurement, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SolvedTarget:
    """A wanted value, and every single change that would give it."""

    target: Target
    meeting: Meeting
    now: Figure | None
    needs: MissingInputs | None
    """What the figure waits for, where it is not known."""
    solutions: tuple[Solution, ...]
    system: System
    shown_now: Mapping[str, float]
    """The figures of `SHOWN` as they are [SI]."""

    @property
    def shown(self) -> tuple[str, ...]:
        """Return the figures of `SHOWN` that any solution moves."""
        moved = {
            figure.slug
            for item in self.possible
            for figure in item.figures
            if not math.isclose(figure.value, self.shown_now.get(figure.slug, math.nan), rel_tol=1e-12)
        }
        return tuple(slug for slug in SHOWN if slug in moved)

    @property
    def possible(self) -> tuple[Solution, ...]:
        """Return the changes that can be made."""
        return tuple(item for item in self.solutions if not item.impossible)


_OTHER_NAMES = {
    "quench": "squish",
    "effective_compression_ratio": "effective ratio, dynamic ratio",
    "compression_ratio": "compression, ratio",
    "top_ring_gap": "ring gap",
    "coil_bind_clearance": "coil bind",
    "seat_load": "seat pressure",
    "open_load": "open pressure",
    "pushrod_length": "pushrod",
    "injector_size_needed": "injector size",
    "restrictor_choked_flow": "restrictor",
}
"""Other names of figures, as a shop asks for them."""


def read_target(text: str) -> Target:
    """Return the target of a text such as `compression_ratio=9.6` or `quench=0.040 in`. Raises ChangeError."""
    name, equals, written = (part.strip() for part in text.partition("="))
    if not equals or not name or not written:
        raise ChangeError(f"{text[:60]!r} is not figure=value: write for example compression_ratio=9.6")
    slug = _figure_named(name)
    return Target(slug=slug, value=_wanted_value(slug, written), text=written)


def _figure_named(name: str) -> str:
    known = {common_form(figure.description.title): slug for slug, figure in REGISTRY.figures.items()}
    known |= {common_form(name): slug for slug, names in _OTHER_NAMES.items() for name in names.split(", ")}
    known |= {slug: slug for slug in REGISTRY.figures}
    asked = common_form(name)
    if asked in known:
        return known[asked]
    if asked in ("power", "torque"):
        raise ChangeError(f"{asked} comes from the dyno, not from the parts: `millbook similar SLUG` estimates it")
    nearest = did_you_mean(asked, known, cutoff=0.5)
    raise ChangeError(f"there is no figure {name[:60]!r}: {nearest or 'write for example compression_ratio or quench'}")


def _wanted_value(slug: str, text: str) -> float:
    unit = REGISTRY.figures[slug].description.display_unit
    try:
        if unit.dimension == NUMBER or unit.dimension in DIMENSIONS:
            return parse_quantity(text, unit.dimension).si
        for scale in (unit.inch, unit.metric):
            number = text.removesuffix(scale.unit).strip()
            if number != text and scale.factor is not None:
                return float(number) * scale.factor
    except UnitProblem as problem:
        raise ChangeError(f"{slug}: {problem}") from None
    except ValueError:
        pass
    labels = " or ".join(dict.fromkeys(f"{text.split()[0]} {scale.unit}" for scale in (unit.inch, unit.metric)))
    raise ChangeError(f"{slug}: {text!r} has no unit of it: write {labels}")


@cache
def static_inputs(slug: str) -> tuple[str, ...]:
    """Return every input that any method of a figure may take, through other figures too."""
    if slug in REGISTRY.inputs:
        return (slug,)
    names = (name for method in REGISTRY.figures[slug].methods for name in method.inputs)
    return tuple(dict.fromkeys(inner for name in names for inner in static_inputs(name)))


_RECORDED_AT = {"lash": ("assembly.checks.intake_lash", "cam.card.intake.lash")}
"""Inputs that the record has in several places: the one that counts first."""
_ADJUSTED = ("assembly.fits.top_ring_gap", "assembly.fits.second_ring_gap")
"""Measured values that are worked to size themselves, whatever else they depend on."""
_CONDITIONS = ("lift", "valve lift", "crank angle", "speed", "pull")
"""Kinds of position that are no parts of the engine: the first of them is the one that counts."""
_LEFT_AS_IT_IS = (
    "bottom_end.pistons.top_land.height",
    "bottom_end.pistons.top_land.diametral_clearance",
    "bottom_end.pistons.pin_offset",
    "top_end.induction.injectors.rated_pressure",
)
"""What nobody changes to bring a figure to a value: it moves it by next to nothing, or is the maker's to state."""
_ONE_WAY: Mapping[str, tuple[Literal[-1, 1], str]] = {
    "bottom_end.block.deck_height": (-1, "a deck can be cut but not raised"),
    "bottom_end.block.bores": (1, "a bore can be made larger, smaller only by sleeves"),
    "assembly.fits.top_ring_gap": (1, "a ring gap can be filed wider, never closer"),
    "assembly.fits.second_ring_gap": (1, "a ring gap can be filed wider, never closer"),
}
"""What can be worked in one direction alone, once it is measured."""


def solve_for(build: Build, target: Target, shop: Shop, meeting: Meeting = "mean") -> SolvedTarget:
    """Return for everything that the figure depends on the value that would give the wanted one, all else unchanged."""
    uses_dyno = any(REGISTRY.inputs[name].path.startswith("dyno.") for name in static_inputs(target.slug))
    engine = Engine(build if uses_dyno else without_dyno_results(build), profile_of(build, shop))
    with np.errstate(all="ignore"):
        now = engine.solver.figure(target.slug)
        before = open_cautions(evaluate(solver_for(without_dyno_results(build), shop), with_findings=False))
        reviewed = tuple(
            _reviewed(engine, solution, set(before), target.slug) for solution in solutions(engine, target, meeting)
        )
    return SolvedTarget(
        target=target,
        meeting=meeting,
        now=now if isinstance(now, Figure) else None,
        needs=now if isinstance(now, MissingInputs) else None,
        solutions=reviewed,
        shown_now={slug: figure.value for slug in SHOWN if isinstance(figure := engine.solver.figure(slug), Figure)},
        system=engine.solver.context.system,
    )


def solutions(
    engine: Engine, target: Target, meeting: Meeting = "mean", fields: Sequence[str] | None = None
) -> Iterator[Solution]:
    """Yield the solution for each field, without what else it leads to; ``fields`` are all candidates unless given."""
    search = _Search(engine, target, meeting)
    with np.errstate(all="ignore"):
        for path in candidates(engine, target.slug) if fields is None else fields:
            solution = search.solution(path)
            if solution is not None:
                yield solution


def candidates(engine: Engine, slug: str) -> tuple[str, ...]:
    """Return the paths of everything that could be changed to move a figure.

    In place of a measurement that follows from other recorded values, those. Where the figure is not known, what is
    not recorded and would make it known.
    """
    is_known = isinstance(engine.solver.figure(slug), Figure)
    roots = engine.solver.root_inputs(slug) if is_known else frozenset(static_inputs(slug))
    paths: dict[str, None] = {}
    for name, item in REGISTRY.inputs.items():
        if name in roots:
            paths |= dict.fromkeys(_worked_paths(engine.build, _recorded_path(engine.build, name, item)))
    fields_of_one_value = [
        path for path in paths if _is_single_value(path) and not (is_known and path in _LEFT_AS_IT_IS)
    ]
    return tuple(path for path in fields_of_one_value if is_known or engine.build.get(path) is None)


def _recorded_path(build: Build, name: str, item: Input) -> str:
    places = _RECORDED_AT.get(name, (item.path.partition(" ")[0],))
    return next((path for path in places if build.get(path) is not None), places[-1])


def _worked_paths(build: Build, path: str) -> Iterator[str]:
    dependencies = dict(measurements()).get(path, {})
    recorded = [name for name in dependencies if build.get(name) is not None]
    if build.get(path) is None or path in _ADJUSTED or not recorded:
        yield path
        return
    for name in recorded:
        yield from _worked_paths(build, name)


def _is_single_value(path: str) -> bool:
    """Return whether a field holds one value, or one for each position; a list of entries does not."""
    info = None if path.startswith("dyno.") else field_info(path)
    return info is not None and shape_of(info).kind in ("reading", "quantity", "number")


class _Search:
    """Finds the value of one field at a time that gives the wanted figure."""

    def __init__(self, engine: Engine, target: Target, meeting: Meeting) -> None:
        self.engine, self.target, self.meeting = engine, target, meeting
        self.others: tuple[float, ...] = ()

    def solution(self, path: str) -> Solution | None:
        """Return the solution for a field; None for one that the figure does not follow."""
        field = SolvedField.of(self.engine, path, self.target.slug)
        blank = Solution(path=path, title=field.title, before=tuple(field.before.tolist()))
        if self.meeting == "each" and len(field.before) > 1 and self._positions(field, field.before) is not None:
            values = [
                self._root(field, partial(self._at_position, field, index), start)
                for index, start in enumerate(field.before.tolist())
            ]
            solved_values = None if None in values else np.array(values, dtype=np.float64)
        elif len(field.before) > 1:
            shift = self._root(field, lambda x: self._distance(field, field.before + x), 0.0)
            solved_values = None if shift is None else field.before + shift
        else:
            start = float(field.before[0]) if len(field.before) else None
            value = self._root(field, lambda x: self._distance(field, np.array([x])), start)
            solved_values = None if value is None else np.array([value])
        if solved_values is None:
            if not self._matters(field):
                return None
            return replace(blank, impossible="no value of it does, with all else as it is")
        return self._worded(field, blank, solved_values)

    def _worded(self, field: SolvedField, blank: Solution, solved_values: Array) -> Solution:
        change = ""
        if len(field.before) == len(solved_values):
            difference = solved_values - field.before
            low, high = (field.difference_text(float(end)) for end in (difference.min(), difference.max()))
            change = low if low == high else f"{low.partition(' ')[0]} to {high}"
        solved = replace(
            blank,
            values=tuple(solved_values.tolist()),
            texts=tuple(field.text(value) for value in solved_values.tolist()),
            change=change,
            impossible=field.impossible(solved_values),
            notes=(*field.notes(solved_values), *(f"{field.text(value)} does it as well" for value in self.others[:2])),
        )
        self.others = ()
        return solved

    def figure_values(self, field: SolvedField, values: Array) -> Array | None:
        """Return the figure with other values of a field, at every position; None where it cannot be."""
        known = self._changed(field, values).solver.input(self.target.slug)
        return None if known is None else np.atleast_1d(np.asarray(known.values, dtype=np.float64))

    def _changed(self, field: SolvedField, values: Array) -> Engine:
        changed = with_changes(self.engine.build, {field.path: field.value_of(values)})
        after, _ = carry_along(self.engine, changed, [field.path], field.followers)
        return Engine(after, self.engine.shop)

    def _distance(self, field: SolvedField, values: Array) -> float:
        """Return how far the figure is above what is wanted, over the cylinders that have to meet it."""
        return self._value(field, values) - self.target.value

    def _value(self, field: SolvedField, values: Array) -> float:
        solver = self._changed(field, values).solver
        figure = solver.figure(self.target.slug)
        if not isinstance(figure, Figure):
            return math.nan
        known = solver.input(self.target.slug)
        by_part = known is not None and known.axis is not None and known.axis.kind not in _CONDITIONS
        if self.meeting in ("lowest", "highest") and known is not None and by_part:
            ends = np.asarray(known.values, dtype=np.float64)
            return float(np.nanmin(ends) if self.meeting == "lowest" else np.nanmax(ends))
        return figure.value

    def _positions(self, field: SolvedField, values: Array) -> Array | None:
        known = self.figure_values(field, values)
        return known if known is not None and len(known) == len(field.before) else None

    def _at_position(self, field: SolvedField, index: int, x: float) -> float:
        values = field.before.copy()
        values[index] = x
        known = self._positions(field, values)
        return math.nan if known is None else float(known[index]) - self.target.value

    def _matters(self, field: SolvedField) -> bool:
        """Return whether the figure changes with the field at all, or becomes known by it."""
        if not len(field.before):
            points = field.grid(*field.search_range(is_shift=False))
            return any(math.isfinite(self._value(field, np.array([x]))) for x in points)
        step, here = field.span / 1000, self._value(field, field.before)
        return any(abs(self._value(field, field.before + by) - here) > 0 for by in (step, -step))

    def _root(self, field: SolvedField, distance: Callable[[float], float], start: float | None) -> float | None:
        """Return where the distance is zero, nearest to the start; None where it is nowhere in the range of search."""
        low, high = field.search_range(is_shift=start == 0.0 and len(field.before) > 1)
        if start is None:
            roots = _between(distance, field.grid(low, high), field.span, field.limits, abs(self.target.value))
            self.others = roots[1:]
            return roots[0] if roots else None
        here = distance(start)
        if here == 0:
            return start
        for direction in (1.0, -1.0):
            root = _towards(distance, start, here, direction, high if direction > 0 else low, field.span)
            if root is not None:
                return root
        return None


def _between(
    distance: Callable[[float], float], points: list[float], scale: float, usual: tuple[float, float], wanted: float
) -> tuple[float, ...]:
    """Return the roots between any two points that follow each other, the most likely first.

    What engines have comes before what they have not, and a root between two possible points before one next to what
    is not possible.
    """
    values = [distance(x) for x in points]
    roots: list[tuple[bool, bool, float]] = []
    for x, at_x, y, at_y in zip(points, values, points[1:], values[1:], strict=False):
        root = x if at_x == 0 else _in_piece(distance, x, at_x, y, at_y, scale)
        if root is not None and _is_crossed(distance, root, scale, wanted):
            at_edge = not (math.isfinite(at_x) and math.isfinite(at_y))
            roots.append((not usual[0] <= root <= usual[1], at_edge, root))
    return tuple(root for _, _, root in sorted(roots))


def _is_crossed(distance: Callable[[float], float], root: float, scale: float, wanted: float) -> bool:
    """Return whether the function really changes at a root, and not by rounding alone."""
    step = 1e-3 * max(scale, abs(root))
    around = [value for by in (-step, step) if math.isfinite(value := distance(root + by))]
    return bool(around) and max(map(abs, around)) > 1e-9 * wanted


def _towards(
    distance: Callable[[float], float], start: float, here: float, direction: float, end: float, scale: float
) -> float | None:
    """Return the first root in one direction, in steps that double."""
    x, at_x, step = start, here, scale / 256
    while (end - x) * direction > 0:
        y = x + direction * min(step, abs(end - x))
        at_y = distance(y)
        root = _in_piece(distance, x, at_x, y, at_y, scale)
        if root is not None or not math.isfinite(at_y):
            return root
        x, at_x, step = y, at_y, 2 * step
    return None


def _in_piece(
    distance: Callable[[float], float], x: float, at_x: float, y: float, at_y: float, scale: float
) -> float | None:
    """Return the root between two points; beyond the end of what is possible the function is not a number."""
    if at_y == 0:
        return y
    if math.isfinite(at_x) and math.isfinite(at_y):
        return bracketed_root(distance, x, y, scale) if at_x * at_y < 0 else None
    if math.isfinite(at_x) == math.isfinite(at_y):
        return None
    inside, outside, at_inside = (x, y, at_x) if math.isfinite(at_x) else (y, x, at_y)
    for _ in range(60):
        middle = (inside + outside) / 2
        at_middle = distance(middle)
        if not math.isfinite(at_middle):
            outside = middle
        elif at_middle * at_inside <= 0:
            return bracketed_root(distance, inside, middle, scale)
        else:
            inside, at_inside = middle, at_middle
    return None


@dataclass(frozen=True, kw_only=True)
class SolvedField:
    """One field of the record that is tried with other values."""

    path: str
    title: str
    recorded: Any
    before: Array
    dimension: str
    unit: DisplayUnit | None
    written_unit: str
    system: System
    followers: frozenset[str]
    """The measurements that move with it."""
    narrowest: float | None = None
    """The least that it can be with the other parts [SI]."""

    @classmethod
    def of(cls, engine: Engine, path: str, slug: str) -> SolvedField:
        """Return a field that is tried to move a figure."""
        info = field_info(path)
        assert info is not None
        recorded, notes = engine.build.get(path), notes_at(path)
        shape = shape_of(info)
        item = next((item for item in REGISTRY.inputs.values() if item.path == path), None)
        any_dimension = item.display_unit.dimension if item and shape.kind != "number" else NUMBER
        dimension = shape.dimension or (any_dimension if any_dimension in DIMENSIONS else NUMBER)
        if isinstance(recorded, Reading):
            before, dimension = recorded.values, recorded.dimension
        elif isinstance(recorded, Quantity):
            before, dimension = np.array([recorded.si]), recorded.dimension
        else:
            before = np.array([] if recorded is None else [float(recorded)])
        system = engine.solver.context.system
        units = usual_units(notes, dimension) if dimension != NUMBER else ("", "")
        title = item.label if item else notes.title or path.rpartition(".")[2].replace("_", " ")
        return cls(
            path=path,
            title=capitalize(title),
            recorded=recorded,
            before=before,
            dimension=dimension,
            unit=item.display_unit if item and item.display_unit.dimension == dimension else None,
            written_unit=units[0 if system == "inch" else -1],
            system=system,
            followers=followers_of(path) & _measurements_behind(slug),
            narrowest=engine.value("bore") if path == "top_end.gasket.bore" else None,
        )

    def value_of(self, values: Array) -> Any:
        """Return what the record would hold with other values [SI]."""
        recorded = self.recorded
        if isinstance(recorded, Reading):
            like = recorded.preferred
            quantities = tuple(
                quantity_of_value(value, like[min(index, len(like) - 1)], 2)
                for index, value in enumerate(values.tolist())
            )
            if recorded.measured:
                return replace(recorded, measured=quantities)
            return replace(recorded, listed=quantities[0], repeats=())
        if isinstance(recorded, Quantity):
            return quantity_of_value(float(values[0]), recorded, 2)
        info = field_info(self.path)
        kind = shape_of(info).kind if info else "number"
        if kind == "number":
            return float(values[0])
        zero = "0.0001" if self.dimension == "length" and self.written_unit == "in" else "0.001"
        quantity = quantity_of_value(float(values[0]), Quantity(0.0, zero, self.written_unit, self.dimension))
        return quantity if kind == "quantity" else Reading(self.dimension, listed=quantity, is_plain=True)

    @property
    def limits(self) -> tuple[float, float]:
        """Return the least and the most that engines have [SI]."""
        known = plausible_limits(notes_at(self.path), self.dimension)
        if known is not None:
            return known
        size = float(np.abs(self.before).max()) if len(self.before) else 1.0
        return 0.0, 4 * size

    @property
    def span(self) -> float:
        """Return the size of the range of search [SI]."""
        low, high = self.limits
        size = float(np.abs(self.before).max()) if len(self.before) else 0.0
        return max(size, (high - low) / 64)

    @property
    def allows_below_zero(self) -> bool:
        """Return whether a value below zero can be tried: a negative dish is a dome."""
        sign = notes_at(self.path).sign or SIGN_OF_DIMENSION.get(self.dimension, "positive")
        return sign in ("any", "not negative")

    def grid(self, low: float, high: float) -> list[float]:
        """Return the values to look between where nothing is recorded."""
        known = plausible_limits(notes_at(self.path), self.dimension) is not None
        points = np.linspace(low, high, 49) if known else np.geomspace(1e-6, 1e9, 61)
        return [float(x) for x in points]

    def search_range(self, *, is_shift: bool) -> tuple[float, float]:
        """Return the least and the most to try, or for all positions together the shift."""
        low, high = self.limits
        low, high = (low - (high - low) if self.allows_below_zero else low / 4, high + (high - low))
        if is_shift:
            return low - float(self.before.min()), high - float(self.before.max())
        return low, high

    def text(self, si: float) -> str:
        """Return a value as text."""
        if self.unit is not None:
            return self.unit.text(si, self.system)
        if self.dimension == NUMBER:
            return f"{si:.4g}"
        like = Quantity(0.0, "0.0001" if self.written_unit == "in" else "0.001", self.written_unit, self.dimension)
        return quantity_of_value(si, like).text

    def difference_text(self, si: float) -> str:
        """Return a change as text, with its sign."""
        if self.dimension == "temperature":
            return ""
        text = plain_spaces(self.text(abs(si)))
        return f"{'−' if si < 0 else '+'}{text}"

    def impossible(self, solved_values: Array) -> str:
        """Return why the values cannot be made; empty where they can."""
        low, high = self.limits
        notes = notes_at(self.path)
        if self.narrowest is not None and solved_values.min() < self.narrowest:
            return "the gasket would stand out into the bore"
        sign = notes.sign or SIGN_OF_DIMENSION.get(self.dimension, "positive")
        is_dome = self.path == "bottom_end.pistons.dish"
        if (sign == "positive" and solved_values.min() <= 0) or (
            sign == "not negative" and solved_values.min() < 0 and not is_dome
        ):
            return "it would have to be below zero"
        if notes.plausible_range and (solved_values.max() > high or (solved_values.min() < low and not is_dome)):
            return f"outside what engines have ({' to '.join(notes.plausible_range)})"
        way, why = _ONE_WAY.get(self.path, (0, ""))
        if way and len(self.before) == len(solved_values) and bool((way * (solved_values - self.before) < -1e-9).any()):
            return why
        return ""

    def notes(self, solved_values: Array) -> tuple[str, ...]:
        """Return what to know of a solution."""
        if self.path == "bottom_end.pistons.dish" and solved_values.min() < 0:
            return (f"other pistons, with a dome of {self.text(-float(solved_values.mean()))} in place of the dish",)
        if len(self.before) != len(solved_values):
            return ()
        change = float(np.mean(solved_values - self.before))
        if self.path in ("top_end.springs.installed_height", "top_end.springs.exhaust_installed_height"):
            what = "shims under the springs" if change < 0 else "shims taken out, or longer valves"
            return (f"{self.text(abs(change))} of {what}",)
        if self.path == "bottom_end.block.deck_height" and change < 0:
            return (f"a cut of {self.text(-change)}",)
        if self.path in _ADJUSTED and change > 0:
            shares = solved_values - self.before
            return (f"file off {self.text(float(shares.min()))} to {self.text(float(shares.max()))}",)
        return ()


@cache
def _measurements_behind(slug: str) -> frozenset[str]:
    """Return the measurements that a figure may go back to, directly or through others."""
    paths = {REGISTRY.inputs[name].path.partition(" ")[0] for name in static_inputs(slug)}
    paths |= {place for name in static_inputs(slug) for place in _RECORDED_AT.get(name, ())}
    while True:
        more = {
            dependency
            for name, dependencies in measurements()
            if any(is_below(name, known) or is_below(known, name) for known in paths)
            for dependency in dependencies
        } - paths
        if not more:
            break
        paths |= more
    return frozenset(name for name, _ in measurements() if any(is_below(name, known) for known in paths))


@cache
def followers_of(path: str) -> frozenset[str]:
    """Return the measurements that depend on a field, directly or through others."""
    followers: set[str] = set()
    known = {path}
    while True:
        more = {
            name
            for name, dependencies in measurements()
            if name not in followers and any(is_below(a, b) or is_below(b, a) for a in dependencies for b in known)
        }
        if not more:
            return frozenset(followers - {"dyno.pulls"})
        followers |= more
        known |= more


def _reviewed(engine: Engine, solution: Solution, before: set[tuple[str, str, int]], slug: str) -> Solution:
    """Return a solution with the figures and cautions that it leads to."""
    if not solution.values or solution.impossible:
        return solution
    field = SolvedField.of(engine, solution.path, slug)
    changed = with_changes(engine.build, {solution.path: field.value_of(np.array(solution.values))})
    after, stale = carry_along(engine, changed, [solution.path])
    sheet = evaluate(solver_for(without_dyno_results(after), engine.shop), with_findings=False)
    cautions = open_cautions(sheet)
    quench, before_quench = sheet.get("quench"), engine.value("quench")
    if quench is not None and quench.value < 0 and (before_quench is None or before_quench >= 0):
        return replace(solution, impossible=f"piston and head would collide, by {quench.display.lstrip('−')}")
    return replace(
        solution,
        figures=tuple(sheet[name] for name in SHOWN if name in sheet and name != slug),
        cautions=tuple(cautions.values()),
        new_cautions=tuple(caution for key, caution in cautions.items() if key not in before),
        stale=stale,
    )
