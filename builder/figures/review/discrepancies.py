"""Listed against measured, as received against as listed, and two ways to the same thing."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from builder.engine import uncertainty
from builder.figures.core import display_units
from builder.figures.core.display_units import written_text
from builder.figures.core.inputs import INPUTS
from builder.figures.core.solver import LAST_DIGIT, Solver
from builder.figures.core.types import Finding, InputValue
from builder.figures.definitions.what_if import PARTS
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of, title_of
from builder.record.models.parts import Part, PartCheck
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity, factor

_ELSEWHERE = ("parts", "delivery", "dyno", "photos")
_LISTED = ("listed", "measured")
_CROWN = 2.54e-5
"""How closely it is worth saying where the crowns would have stood [m]: 0.001 in."""
_NEVER_WENT_IN = ("returned", "scrapped")

# What a check on a part is about, by the words a shop uses for it.
_ABOUT = (
    ("compression_height", re.compile(r"compression height|pin height", re.I)),
    ("rod_length", re.compile(r"cent(?:re|er) (?:distance|to cent(?:re|er))|rod length", re.I)),
    ("deck_height", re.compile(r"deck height", re.I)),
    ("stroke", re.compile(r"\bstroke\b", re.I)),
    ("chamber", re.compile(r"\bchamber", re.I)),
    ("gasket_thickness", re.compile(r"gasket.*thick|thick.*gasket|(?:crushed|compressed) thick", re.I)),
    ("gasket_bore", re.compile(r"gasket bore", re.I)),
    ("dish", re.compile(r"\bdish", re.I)),
    ("dome", re.compile(r"\bdome", re.I)),
)

# Figures with a second way to them, and what the two ways are.
_TWO_WAYS = {
    "deck_clearance": ("by dial gauge", "from the parts"),
    "main_oil_clearance": ("as gauged", "from the parts"),
    "rod_oil_clearance": ("as gauged", "from the parts"),
    "piston_clearance": ("as gauged", "from bore and piston"),
    "installed_centreline": ("by degree wheel", "as stated"),
    "spring_rate": ("on the tester", "as listed"),
    "seat_load": ("as recorded", "from the tester"),
    "coil_bind_clearance": ("as measured", "from the heights"),
}


def findings(solver: Solver) -> tuple[Finding, ...]:
    """Everything about a build that two people could be of two minds about, with what hangs on it."""
    finder = _Finder(solver)
    return (*finder.listed(), *finder.received(), *finder.method_conflicts())


class _Finder:
    def __init__(self, solver: Solver) -> None:
        self.solver = solver
        self.build: Build = solver.source.build
        self.what_if = solver.source.what_if

    def listed(self) -> Iterator[Finding]:
        """Every reading of the record that was both listed and measured."""
        inputs = {INPUTS[name].path: name for name in PARTS}
        for document in DOCUMENTS:
            part = getattr(self.build, document)
            if part is None or document in _ELSEWHERE:
                continue
            for path, around, holder, name in _readings(part, document):
                info = type(holder).model_fields[name]
                title = title_of(name, info)
                if around:
                    title = f"{around}, {title.lower()}"
                each = notes_of(info).axis or "position"
                yield from self._of_reading(path, title, getattr(holder, name), each, inputs.get(path))

    def _of_reading(self, path: str, title: str, reading: Reading, each: str, name: str | None) -> Iterator[Finding]:
        difference = difference_of(reading, each)
        if difference is None or reading.listed is None:
            return
        cost = self._as_listed(name, reading.listed.si) if name else None
        values = (written_text(reading.listed), _measured(reading))
        yield Finding("listed against measured", path, title, _LISTED, values, difference, cost, self.build.where(path))

    def _as_listed(self, name: str, listed: float) -> str | None:
        other = self.what_if.with_part(name, listed)
        if other is None or self.what_if.now is None:
            return None
        if other.ratio.display == self.what_if.now.ratio.display:
            return f"the compression ratio is {self.what_if.now.ratio.display} either way"
        return f"as listed it would make the compression ratio {other.ratio.display}, as measured {self._ratio}"

    @property
    def _ratio(self) -> str:
        return self.what_if.now.ratio.display if self.what_if.now else ""

    def received(self) -> Iterator[Finding]:
        """Every check on a part as it came in."""
        for index, part in enumerate(self.build.parts.parts if self.build.parts else ()):
            for number, check in enumerate(part.checked):
                if check.reading is None or check.reading.listed is None:
                    continue
                difference = difference_of(check.reading, "position")
                name = _about(part, check)
                if difference is None or (name and self._said_already(name, check.reading)):
                    continue
                path = f"parts.parts.{index}.checked.{number}"
                yield Finding(
                    "as received",
                    path,
                    f"{part.part[:1].upper()}{part.part[1:]}: {check.what}",
                    _LISTED,
                    (written_text(check.reading.listed), _measured(check.reading)),
                    difference,
                    self._wrong_part(name, check.reading) if name and part.verdict in _NEVER_WENT_IN else None,
                    self.build.where(path),
                )

    def _said_already(self, name: str, reading: Reading) -> bool:
        """Whether the part went in and the record of the engine holds the same readings."""
        built = self.build.get(INPUTS[name].path)
        return isinstance(built, Reading) and built.listed is not None and built.measured == reading.measured

    def _wrong_part(self, name: str, reading: Reading) -> str | None:
        other = self.what_if.with_part(name, float(reading.values.mean()))
        if other is None or self.what_if.now is None:
            return None
        if other.ratio.display == self.what_if.now.ratio.display:
            return f"fitted, it would have left the compression ratio at {self._ratio}"
        said = f"fitted, it would have brought the compression ratio to {other.ratio.display} in place of {self._ratio}"
        if PARTS[name] and other.deck_clearance is not None:
            depth = other.deck_clearance.value
            far = display_units.LENGTH.text(abs(depth), self.solver.source.system, _CROWN)
            said += f" and the crowns to {far} {'below' if depth >= 0 else 'above'} the deck"
        return said

    def method_conflicts(self) -> Iterator[Finding]:
        """Figures that the record leads to by two ways that do not agree."""
        for slug, heads in _TWO_WAYS.items():
            if self.solver.known(slug) is None:
                continue
            one_way, other_way = self.solver.via(slug, 0), self.solver.via(slug, 1)
            if one_way is None or other_way is None:
                continue
            (one, first), (other, second) = one_way, other_way
            apart = _apart(first, second, other.value - one.value)
            if abs(apart) <= 2 * np.hypot(_unsure(first), _unsure(second)):
                continue
            # The difference means as much as the two that it lies between.
            unsure = max(_unsure(first), _unsure(second))
            text = one.method.display_unit.text(abs(apart), self.solver.source.system, LAST_DIGIT * unsure)
            if _digits(text) == 0:
                continue
            where = next((known.where for known in one.inputs if known.where), None)
            values = (one.display, other.display)
            yield Finding(
                "two ways", slug, one.title, heads, values, f"{text} apart", self._cost_from_parts(slug), where
            )  # fmt: skip

    def _cost_from_parts(self, slug: str) -> str | None:
        other = self.what_if.from_parts if slug == "deck_clearance" else None
        if other is None or self.what_if.now is None or other.ratio.display == self.what_if.now.ratio.display:
            return None
        return f"reckoned from the parts the compression ratio would be {other.ratio.display} in place of {self._ratio}"


def difference_of(reading: Reading, each: str) -> str | None:
    """By how much the measured values are off the listed one, or None if reading them can explain it.

    A listed number may have been rounded by half its last digit; a measured one is good to the gauge's
    resolution, or to its own last digit.
    """
    listed, best = reading.listed, reading.preferred
    if listed is None or not reading.is_measured or listed.dimension == "temperature":
        return None
    values = reading.values
    step = reading.resolution.si if reading.resolution else max(quantity.step for quantity in best)
    off: npt.NDArray[np.float64] = values - listed.si
    beyond = np.abs(off) > (listed.step / 2 + step) * (1 + 1e-9)
    if not beyond.any():
        return None
    if len(values) == 1:
        return f"{_amount(off, best)} {_side(off[0])} than listed"
    if beyond.all() and (np.all(off > 0) or np.all(off < 0)):
        return f"{_amount(off, best)} {_side(off[0])} than listed"
    worst = int(np.argmax(np.abs(off)))
    most = f"{_amount(off[worst : worst + 1], best)} {_side(off[worst])}"
    return f"{int(beyond.sum())} of {len(values)} differ, most of all {each} {worst + 1}, {most} than listed"


def _side(off: float) -> str:
    return "less" if off < 0 else "more"


def _amount(off: npt.NDArray[np.float64], best: Sequence[Quantity]) -> str:
    """How much, or from how much to how much, in the unit that was written."""
    like = best[0]
    scale = factor(like.unit, like.dimension)[0] if like.unit else 1.0
    decimals = max(len(quantity.number.partition(".")[2]) for quantity in best)
    numbers = [f"{abs(part) / scale:.{decimals}f}" for part in sorted(off, key=abs)]
    unit = written_text(Quantity(0.0, "", like.unit, like.dimension))
    return f"{numbers[0]}{unit}" if numbers[0] == numbers[-1] else f"{numbers[0]} to {numbers[-1]}{unit}"


def _measured(reading: Reading) -> str:
    best = reading.preferred
    if len(best) == 1:
        return written_text(best[0])
    low, high = min(best, key=lambda q: q.si), max(best, key=lambda q: q.si)
    return written_text(low) if low.si == high.si else f"{low.number.replace('-', '−')} to {written_text(high)}"


def _readings(model: RecordModel, path: str, around: str = "") -> Iterator[tuple[str, str, RecordModel, str]]:
    """Every reading below a model that was both listed and measured: path, what it is part of, its holder, its name."""
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, Reading):
            if value.listed is not None and value.is_measured:
                yield f"{path}.{name}", around, model, name
        elif isinstance(value, RecordModel):
            yield from _readings(value, f"{path}.{name}", title_of(name, type(model).model_fields[name]))
        elif isinstance(value, tuple):
            for index, item in enumerate(value):
                if isinstance(item, RecordModel):
                    yield from _readings(item, f"{path}.{name}.{index}", title_of(name, type(model).model_fields[name]))


def _about(part: Part, check: PartCheck) -> str | None:
    """The input that a check on a part is about."""
    for words in (check.what, f"{part.part} {check.what}"):
        for name, pattern in _ABOUT:
            if pattern.search(words) and check.reading and check.reading.dimension == INPUTS[name].shown.dimension:
                return name
    return None


def _apart(first: InputValue, second: InputValue, overall: float) -> float:
    """The second less the first on the mean of the same positions; overall where they have other positions."""
    if first.axis is not None and first.axis == second.axis:
        return float(np.mean(np.asarray(second.values) - np.asarray(first.values)))
    return overall


def _unsure(known: InputValue) -> float:
    return float(np.max(uncertainty.combine(known.contributions))) if known.contributions else 0.0


def _digits(text: str) -> float:
    return float(re.sub(r"[^0-9.]", "", text.partition("\N{NO-BREAK SPACE}")[0]) or 0)
