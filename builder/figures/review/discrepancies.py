"""Values that differ: listed against measured, as received against listed, and two methods for one figure."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
import numpy.typing as npt

from builder.figures.core import display_units
from builder.figures.core.display_units import written_text
from builder.figures.core.inputs import Input
from builder.figures.core.solver import Solver
from builder.figures.core.types import Discrepancy
from builder.figures.definitions.what_if import PARTS, WhatIf
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of, title_of
from builder.record.models.parts import Part, PartCheck
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity, factor
from builder.record.wording import in_sentence

_OTHER_DOCUMENTS = ("parts", "delivery", "dyno", "photos", "returned", "service")
_LISTED_LABELS = ("listed", "measured")
_CROWN_STEP = 2.54e-5
"""Step to which the position of the crowns is shown [m]: 0.001 in."""
_REJECTED = ("returned", "scrapped")

# What a check on a part is about, by the words a shop uses for it.
_INPUT_PATTERNS = (
    ("compression_height", re.compile(r"compression height|pin height", re.I)),
    ("rod_length", re.compile(r"cent(?:re|er) (?:distance|to cent(?:re|er))|rod length", re.I)),
    ("deck_height", re.compile(r"deck height", re.I)),
    ("stroke", re.compile(r"\bstroke\b", re.I)),
    ("chamber", re.compile(r"\bchamber", re.I)),
    ("gasket_thickness", re.compile(r"gasket.*thick|thick.*gasket|(?:crushed|compressed) thick", re.I)),
    ("gasket_bore", re.compile(r"gasket bore", re.I)),
    ("dish", re.compile(r"\bdish", re.I)),
    ("dome", re.compile(r"\bdome", re.I)),
    ("main_shell", re.compile(r"main shell", re.I)),
    ("rod_shell", re.compile(r"rod shell", re.I)),
    ("big_end_bore", re.compile(r"big.end bore", re.I)),
    ("piston_diameter", re.compile(r"piston.* diameter", re.I)),
)


def find_discrepancies(solver: Solver) -> tuple[Discrepancy, ...]:
    """Return every pair of values for one thing that differ by more than reading them can explain."""
    finder = _Finder(solver)
    return (*finder.listed(), *finder.received())


@dataclass(frozen=True)
class _Consequence:
    text: str
    matters: bool


class _Finder:
    def __init__(self, solver: Solver) -> None:
        self.solver = solver
        self.guard = solver.context.guard
        self.build: Build = solver.context.build
        self.what_if = solver.context.cached(WhatIf)
        self.inputs = solver.context.registry.inputs

    def listed(self) -> Iterator[Discrepancy]:
        """Yield the readings of the record that were both listed and measured, and differ."""
        inputs = {self.inputs[name].path: name for name in PARTS}
        for document in DOCUMENTS:
            part = getattr(self.build, document)
            if part is None or document in _OTHER_DOCUMENTS:
                continue
            for path, owner_title, owner, name in _readings(part, document):
                info = type(owner).model_fields[name]
                title = title_of(name, info)
                if owner_title:
                    title = f"{owner_title}, {in_sentence(title)}"
                axis = notes_of(info).axis or "position"
                compare = partial(self._from_reading, path, title, getattr(owner, name), axis, inputs.get(path))
                yield from self.guard.collect(f"{title}, listed against measured,", compare)

    def _from_reading(
        self, path: str, title: str, reading: Reading, axis: str, name: str | None
    ) -> Iterator[Discrepancy]:
        difference = difference_text(reading, axis)
        if difference is None or reading.listed is None:
            return
        yield self._discrepancy(
            "listed against measured",
            path,
            title,
            (written_text(reading.listed), _measured_text(reading)),
            difference,
            self._ratio_as_listed(name, reading.listed.si) if name else None,
        )

    def _discrepancy(
        self,
        kind: Literal["listed against measured", "as received"],
        path: str,
        title: str,
        values: tuple[str, str],
        difference: str,
        consequence: _Consequence | None,
    ) -> Discrepancy:
        return Discrepancy(
            kind=kind,
            path=path,
            title=title,
            labels=_LISTED_LABELS,
            values=values,
            difference=difference,
            consequence=consequence.text if consequence else None,
            matters=consequence is not None and consequence.matters,
            where=self.build.where(path),
        )

    def _ratio_as_listed(self, name: str, listed: float) -> _Consequence | None:
        scenario = self.what_if.with_part(name, listed)
        if scenario is None or self.what_if.as_built is None:
            return None
        if scenario.ratio.display == self._ratio:
            return _Consequence(f"CR {self._ratio} unchanged", matters=False)
        text = f"CR {scenario.ratio.display} with the catalog value, {self._ratio} as measured"
        return _Consequence(text, matters=True)

    @property
    def _ratio(self) -> str:
        return self.what_if.as_built.ratio.display if self.what_if.as_built else ""

    def received(self) -> Iterator[Discrepancy]:
        """Yield the checks on parts as they came in that differ from what is listed."""
        for index, part in enumerate(self.build.parts.parts if self.build.parts else ()):
            for number, check in enumerate(part.checked):
                path = f"parts.parts.{index}.checked.{number}"
                title = f"{part.part[:1].upper()}{part.part[1:]}: {check.what}"
                yield from self.guard.collect(
                    f"{title}, as received,", partial(self._of_part, part, check, path, title)
                )

    def _of_part(self, part: Part, check: PartCheck, path: str, title: str) -> Iterator[Discrepancy]:
        if check.reading is None or check.reading.listed is None:
            return
        difference = difference_text(check.reading, "position")
        name = input_of_check(part, check, self.inputs)
        if difference is None or (name and self._is_fitted_with(name, check.reading)):
            return
        yield self._discrepancy(
            "as received",
            path,
            title,
            (written_text(check.reading.listed), _measured_text(check.reading)),
            difference,
            self._ratio_with_rejected(name, check.reading) if name and part.verdict in _REJECTED else None,
        )

    def _is_fitted_with(self, name: str, reading: Reading) -> bool:
        """Return whether the part went in and the record of the engine holds the same readings."""
        built = self.build.get(self.inputs[name].path)
        return isinstance(built, Reading) and built.listed is not None and built.measured == reading.measured

    def _ratio_with_rejected(self, name: str, reading: Reading) -> _Consequence | None:
        scenario = self.what_if.with_part(name, float(reading.values.mean()))
        if scenario is None or self.what_if.as_built is None:
            return None
        if scenario.ratio.display == self._ratio:
            return _Consequence(f"If fitted: CR {self._ratio} unchanged", matters=True)
        ratio = scenario.ratio.display
        text = f"If fitted: CR {ratio} instead of {self._ratio}"
        if PARTS[name] and scenario.deck_clearance is not None:
            depth = scenario.deck_clearance.value
            distance = display_units.LENGTH.text(abs(depth), self.solver.context.system, _CROWN_STEP)
            text += f", crowns {distance} {'below' if depth >= 0 else 'above'} the deck"
        return _Consequence(text, matters=True)


def difference_text(reading: Reading, axis: str) -> str | None:
    """Return by how much the measured values are off the listed one, or None if reading them can explain it.

    A listed number may have been rounded by half its last digit; a measured one is good to the gauge's
    resolution, or to its own last digit.
    """
    listed, measured = reading.listed, reading.preferred
    if listed is None or not reading.is_measured or listed.dimension == "temperature":
        return None
    values = reading.values
    step = reading.resolution.si if reading.resolution else max(quantity.step for quantity in measured)
    off: npt.NDArray[np.float64] = values - listed.si
    beyond = np.abs(off) > (listed.step / 2 + step) * (1 + 1e-9)
    if not beyond.any():
        return None
    if len(values) == 1:
        return f"{_amount_text(off, measured)} {_direction(off[0])} than listed"
    if beyond.all() and (np.all(off > 0) or np.all(off < 0)):
        return f"{_amount_text(off, measured)} {_direction(off[0])} than listed"
    worst = int(np.argmax(np.abs(off)))
    most = f"{_amount_text(off[worst : worst + 1], measured)} {_direction(off[worst])}"
    return f"{int(beyond.sum())} of {len(values)} differ, most of all {axis} {worst + 1}, {most} than listed"


def _direction(off: float) -> str:
    return "less" if off < 0 else "more"


def _amount_text(off: npt.NDArray[np.float64], measured: Sequence[Quantity]) -> str:
    """Return the difference, or the range of differences, in the unit that was written."""
    first = measured[0]
    scale = factor(first.unit, first.dimension)[0] if first.unit else 1.0
    decimals = max(len(quantity.number.partition(".")[2]) for quantity in measured)
    numbers = [f"{abs(difference) / scale:.{decimals}f}" for difference in sorted(off, key=abs)]
    unit = written_text(Quantity(0.0, "", first.unit, first.dimension))
    return f"{numbers[0]}{unit}" if numbers[0] == numbers[-1] else f"{numbers[0]} to {numbers[-1]}{unit}"


def _measured_text(reading: Reading) -> str:
    quantities = reading.preferred
    if len(quantities) == 1:
        return written_text(quantities[0])
    low, high = min(quantities, key=lambda q: q.si), max(quantities, key=lambda q: q.si)
    return written_text(low) if low.si == high.si else f"{low.number.replace('-', '−')} to {written_text(high)}"


def _readings(model: RecordModel, path: str, model_title: str = "") -> Iterator[tuple[str, str, RecordModel, str]]:
    """Yield the readings below a model that were both listed and measured.

    Each with its path, the title of the model that owns it, that model, and the name of the field.
    """
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, Reading):
            if value.listed is not None and value.is_measured:
                yield f"{path}.{name}", model_title, model, name
        elif isinstance(value, RecordModel):
            yield from _readings(value, f"{path}.{name}", title_of(name, type(model).model_fields[name]))
        elif isinstance(value, tuple):
            for index, item in enumerate(value):
                if isinstance(item, RecordModel):
                    yield from _readings(item, f"{path}.{name}.{index}", title_of(name, type(model).model_fields[name]))


def input_of_check(part: Part, check: PartCheck, inputs: Mapping[str, Input]) -> str | None:
    """Return the input that a check on a part is about."""
    for text in (check.what, f"{part.part} {check.what}"):
        for name, pattern in _INPUT_PATTERNS:
            dimension = inputs[name].display_unit.dimension
            if pattern.search(text) and check.reading and check.reading.dimension == dimension:
                return name
    return None
