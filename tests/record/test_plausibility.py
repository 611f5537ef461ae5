"""Slipped decimals and mixed-up units are warned of, with what was probably meant; ordinary engines are not."""
# ruff: noqa: E501  (one case, one line)

from __future__ import annotations

import pytest

from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import RecordModel, notes_of
from builder.record.quantities.units import NUMBER, parse_quantity
from builder.record.schema_shape import shape_of
from tests.support.record_samples import SHEET, ReadWith


@pytest.mark.parametrize(
    ("name", "text", "line", "message"),
    [
        ("top_end", "gasket:\n  thickness: 0.27 in\n", 2,
         "gasket.thickness: 0.27 in is outside what engines have (0.3 mm to 3.5 mm): was 0.027 in meant?"),
        ("bottom_end", "block:\n  bores: 4 mm\n", 2, "was 40 mm or 4 in meant?"),
        ("bottom_end", "block:\n  bores: 4.03 mm\n", 2, "4.03 in meant?"),
        ("bottom_end", "block:\n  bores: {unit: in, measured: [4.03, 4.03, 40.3, 4.03]}\n", 2, "was 4.03 in meant?"),
        ("bottom_end", "block:\n  bores:\n    unit: in\n    measured:\n      - 4.03\n      - 4.03\n      - 0.403\n      - 4.03\n", 7,
         "was 4.03 in meant?"),
        ("bottom_end", "block:\n  deck_height: 9.025 mm\n", 2, "9.025 in meant?"),
        ("top_end", "heads:\n  chambers: 64 cu in\n", 2, None),
        ("top_end", "rockers:\n  ratio: 16\n", 2, "was 1.6 meant?"),
        ("dyno", "conditions:\n  temperature: 72 degC\n", 2, "was 72 degF meant?"),
        ("dyno", "conditions:\n  barometer: 29.61 psi\n  barometer_is: station\n", 2, None),
        ("assembly", "checks:\n  rotation_torque: 18 kgf.m\n", 2, None),
        ("cam", "installed:\n  intake_centerline: 10.4 deg\n", 2, "was 104 deg meant?"),
    ],
)  # fmt: skip
def test_values_that_no_engine_has(read: ReadWith, name: str, text: str, line: int, message: str | None) -> None:
    build, problems = read(**{name: text})
    assert build is not None, "a warning keeps no build from being published"
    if message is None:
        return
    (problem,) = problems
    assert (problem.path.name, problem.line, problem.severity) == (f"{name}.yaml", line, "warning")
    assert message in problem.message


def test_levels_of_a_setting_in_different_kinds_of_unit(read: ReadWith) -> None:
    pulls = "".join(
        f"  - {{name: p{level}, file: dyno/a.csv, setting: {{name: Advance, level: {level}}}}}\n"
        for level in ("30 deg", "33 mm", "35 deg")
    )
    _, problems = read(dyno=f"readings: observed\npulls:\n{pulls}")
    (warning,) = [problem for problem in problems if "Advance" in problem.message]
    assert (warning.line, warning.severity) == (4, "warning")
    assert "p33 mm: Advance at 33 mm cannot be compared with 30 deg of an earlier pull" in warning.message


@pytest.mark.parametrize(
    ("rods", "stroke", "message"),
    [("5.7 in", "3.48 in", None), ("60 mm", "100 mm", "is 0.60; engines have 1.3 to 2.5: are the two swapped?"),
     ("500 mm", "88 mm", "look at both lengths")],
)  # fmt: skip
def test_rod_ratio(read: ReadWith, rods: str, stroke: str, message: str | None) -> None:
    build, problems = read(bottom_end=f"crankshaft:\n  stroke: {stroke}\nrods:\n  length: {rods}\n")
    assert build is not None
    assert [problem.line for problem in problems] == ([] if message is None else [4])
    assert message is None or message in problems[0].message


@pytest.mark.parametrize(
    ("text", "far"),
    [
        ("{listed: 1.760 in, measured: 1.661 in}", False),
        ("{listed: 1.760 in, measured: 1.0 in}", True),
        ("{listed: 1.760 in, measured: 30 mm}", False),
        ("{listed: 0.003 in, measured: 0.006 in}", False),
        ("{listed: 0.003 in, measured: 0.03 in}", True),
    ],
)
def test_listed_and_measured_far_apart(read: ReadWith, text: str, far: bool) -> None:
    build, problems = read(
        parts=f"parts:\n  - part: pistons\n    checked:\n      - what: height\n        reading: {text}\n"
    )
    assert build is not None
    assert [problem.line for problem in problems] == ([5] if far else [])
    assert not far or "slipped decimal" in problems[0].message


def _plausible_ranges(model: type[RecordModel], at: str) -> list[tuple[str, str, tuple[str, str], str | None]]:
    fields = []
    for name, info in model.model_fields.items():
        shape, notes = shape_of(info), notes_of(info)
        if notes.plausible_range:
            fields.append((f"{at}.{name}", notes.example, notes.plausible_range, shape.dimension))
        if shape.model is not None:
            fields += _plausible_ranges(shape.model, f"{at}.{name}")
    return fields


PLAUSIBLE_RANGES = [item for name, model in DOCUMENTS.items() for item in _plausible_ranges(model, name)]


@pytest.mark.parametrize(("path", "example", "likely", "dimension"), PLAUSIBLE_RANGES)
def test_the_plausible_range_of_a_field_holds_its_example(
    path: str, example: str, likely: tuple[str, str], dimension: str | None
) -> None:
    dimension = dimension or NUMBER
    least, most = (float(end) if dimension == NUMBER else parse_quantity(end, dimension).si for end in likely)
    assert least < most
    if example and not example.startswith("{"):
        assert least <= parse_quantity(example, dimension).si <= most


def test_ordinary_engines_are_not_warned_of(read: ReadWith) -> None:
    """From a model engine to a ship's: common practice, no source."""
    for bore, stroke, rod in (
        ("26 mm", "26 mm", "52 mm"),
        ("4.030 in", "3.48 in", "5.7 in"),
        ("300 mm", "400 mm", "850 mm"),
    ):
        build, problems = read(
            build=SHEET,
            bottom_end=f"block: {{bores: {bore}}}\ncrankshaft: {{stroke: {stroke}}}\nrods: {{length: {rod}}}\n",
        )
        assert build is not None
        assert not problems
