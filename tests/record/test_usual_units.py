"""A message about a unit offers the one that the trade uses for the field, never one that is far off."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from pydantic.fields import FieldInfo

from builder.record.models.fields import RecordModel, notes_of
from builder.record.problem import errors_in
from builder.record.quantities.units import DIMENSIONS, parse_quantity
from builder.record.reference import document_models
from builder.record.schema_shape import shape_of
from builder.record.usual_units import fitting_units, plausible_limits, usual_units
from tests.support.record_samples import ReadWith


@pytest.mark.parametrize(
    ("document", "text", "hint"),
    [
        ("dyno", "conditions: {barometer: 29.18, barometer_is: station}\n", "write 29.18 inHg"),
        ("dyno", "conditions: {barometer: 988, barometer_is: station}\n", "write 988 hPa"),
        ("dyno", "conditions: {barometer: 98.8, barometer_is: station}\n", "write 98.8 kPa"),
        ("dyno", "conditions: {altitude: 640}\n", "write 640 ft or 640 m"),
        ("dyno", "conditions: {temperature: 72}\n", "write 72 degF"),
        ("dyno", "conditions: {temperature: 22}\n", "write 22 degF or 22 degC"),
        ("bottom_end", "block: {bores: 102.38}\n", "write 102.38 mm"),
        ("bottom_end", "block: {bores: {measured: [4.0305, 4.0304, 4.0305, 4.0306]}}\n", "write {unit: in, measured"),
        ("assembly", "fits: {main_oil_clearance: 2.5}\n", "write 2.5 thou"),
        ("assembly", "fits: {main_oil_clearance: 0.06}\n", "write 0.06 mm"),
        ("assembly", "fits: {main_oil_clearance: {allowed: 0.0022..0.0030}}\n", "write 0.0022..0.0030 in"),
        ("assembly", "checks: {cranking_compression: 12.5}\n", "write 12.5 bar"),
        ("top_end", "heads: {flow_bench: {depression: 28}}\n", "write 28 inH2O"),
        ("delivery", "fluids: [{what: engine oil, amount: 5}]\n", "write 5 qt or 5 L"),
        ("dyno", "conditions: {barometer: 29.18 inH, barometer_is: station}\n", "did you mean 'inHg'?"),
        ("dyno", "conditions: {altitude: 640 psi}\n", "but this is a length: write it in ft or m"),
        ("bottom_end", "block: {deck_height: 40000}\n", "in no unit that this is measured in is it plausible"),
    ],
)
def test_the_unit_offered_is_the_trades(read: ReadWith, document: str, text: str, hint: str) -> None:
    _, problems = read(**{document: text})
    (problem,) = errors_in(problems)
    assert hint in problem.message
    for neighbor in (
        "29.18 psi",
        "29.18 kPa",
        "640 in",
        "640 mm",
        "988 psi",
        "28 psi",
        "102.38 in",
        "0.0030 mm",
    ):
        assert neighbor not in problem.message


def _quantity_fields(model: type[RecordModel], at: str) -> Iterator[tuple[str, FieldInfo, str]]:
    for name, info in model.model_fields.items():
        shape = shape_of(info)
        if shape.kind in ("reading", "quantity") and shape.dimension in DIMENSIONS:
            yield f"{at}.{name}", info, str(shape.dimension)
        if shape.model is not None:
            yield from _quantity_fields(shape.model, f"{at}.{name}")


FIELDS = [item for name, model in document_models().items() for item in _quantity_fields(model, name)]


@pytest.mark.parametrize(("path", "info", "dimension"), FIELDS, ids=[path for path, *_ in FIELDS])
def test_every_unit_offered_reads_and_is_plausible(path: str, info: FieldInfo, dimension: str) -> None:
    """For numbers over ten decades: what is offered is in the field's range, so never off by a large factor."""
    notes = notes_of(info)
    limits = plausible_limits(notes, dimension)
    assert usual_units(notes, dimension)
    for exponent in range(-50, 60):
        number = 10 ** (exponent / 10)
        for unit in fitting_units(notes, dimension, [number]):
            si = parse_quantity(f"{number:.12g} {unit}", dimension).si
            assert limits is None or limits[0] * (1 - 1e-9) - 1e-12 <= si <= limits[1] * (1 + 1e-9) + 1e-12


@pytest.mark.parametrize(("path", "info", "dimension"), FIELDS, ids=[path for path, *_ in FIELDS])
def test_the_units_of_a_field_fit_what_it_is_plausible_for(path: str, info: FieldInfo, dimension: str) -> None:
    """The first unit offered gives numbers that people write: not thousandths, not millions."""
    notes = notes_of(info)
    limits = plausible_limits(notes, dimension)
    if limits is None or limits[1] <= 0:
        return
    scale = DIMENSIONS[dimension].units[usual_units(notes, dimension)[0]]
    assert 0.001 <= abs((limits[1] - scale.offset) / scale.factor) <= 500_000, path


def test_an_injector_is_rated_by_mass_or_by_volume(read: ReadWith) -> None:
    for written, dimension in (("42 lb/hr", "mass flow"), ("440 cc/min", "volume flow"), ("440 ml/min", "volume flow")):
        build, problems = read(top_end=f"induction: {{injectors: {{count: 8, flow: {written}}}}}\n")
        assert problems == []
        assert build is not None
        assert build.get("top_end.induction.injectors.flow").dimension == dimension
    _, problems = read(top_end="induction: {injectors: {flow: 440}}\n")
    assert "write 440 g/min or 440 cc/min" in problems[0].message
    _, problems = read(top_end="induction: {injectors: {flow: 440 psi}}\n")
    assert "write it in lb/h, g/min or cc/min" in problems[0].message
