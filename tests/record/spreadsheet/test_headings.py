"""The headings that shops write are understood, and those that could mean two things are not."""

from __future__ import annotations

import pytest

from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import RecordModel
from builder.record.schema_shape import shape_of
from builder.record.spreadsheet.headings import _COLUMN_NAMES, read_heading
from builder.record.spreadsheet.targets import FieldTarget, parse_target

UNDERSTOOD = {
    "Job #": ("number", ""),
    "JOB NO.": ("number", ""),
    "Engine": ("title", ""),
    "Customer": ("customer.name", ""),
    "In": ("started", ""),
    "Date finished": ("finished", ""),
    "Used in": ("purpose", ""),
    "Config": ("engine.layout", ""),
    "Cyl": ("engine.cylinders", ""),
    "CID": ("engine.displacement", "cu in"),
    "Displacement (cu in)": ("engine.displacement", "cu in"),
    "C.R.": ("engine.compression_noted", ""),
    "Bore (in)": ("bottom_end.block.bores", "in"),
    "bore [mm]": ("bottom_end.block.bores", "mm"),
    "Bore, in": ("bottom_end.block.bores", "in"),
    "bore_mm": ("bottom_end.block.bores", "mm"),
    "Bore 3 (in)": ("bottom_end.block.bores.measured[3]", "in"),
    "Bore, cylinder 3 (in)": ("bottom_end.block.bores.measured[3]", "in"),
    "Rod length": ("bottom_end.rods.length", ""),
    "length of rods": ("bottom_end.rods.length", ""),
    "Comp Ht": ("bottom_end.pistons.compression_height", ""),
    "Chamber cc": ("top_end.heads.chambers", "cc"),
    "Deck height, listed (in)": ("bottom_end.block.deck_height.listed", "in"),
    "Deck height, actual (in)": ("bottom_end.block.deck_height.measured", "in"),
    "Main clearance, allowed (in)": ("assembly.fits.main_oil_clearance.allowed", "in"),
    "Top ring gap, at least (in)": ("assembly.fits.top_ring_gap.at_least", "in"),
    "Ring gap top": ("assembly.fits.top_ring_gap", ""),
    "Int Dur @ .050": ("cam.card.intake.durations[0.050 in].duration", ""),
    "Exhaust duration at 1 mm (deg)": ("cam.card.exhaust.durations[1 mm].duration", "deg"),
    "Intake duration at seat": ("cam.card.intake.durations[seat].duration", ""),
    "HP @ rpm": ("dyno.noted_result.power", "hp"),
    "Peak torque (lbf.ft) at RPM": ("dyno.noted_result.torque", "lbf.ft"),
    "Rod L": ("bottom_end.rods.length", ""),
    "Lift int": ("cam.card.intake.valve_lift", ""),
    "Inlet valve lift (mm)": ("cam.card.intake.valve_lift", "mm"),
    "Crank end float (in)": ("assembly.fits.crank_end_play", "in"),
    "Idle RPM": ("delivery.settings.idle_speed", "RPM"),
    "Head bolt torque (lb-ft)": ("assembly.fasteners[head bolts].torque", "lb-ft"),
    "Block maker": ("bottom_end.block.maker", ""),
    "Oil": ("delivery.fluids[engine oil].grade", ""),
    "Remarks": ("private_notes", ""),
}


@pytest.mark.parametrize(("heading", "meant"), UNDERSTOOD.items())
def test_a_heading_is_understood(heading: str, meant: tuple[str, str]) -> None:
    found = read_heading(heading)
    assert found.target is not None, found.remark
    assert (found.target.path, found.unit) == meant


@pytest.mark.parametrize(
    "heading", ["Maker", "Valve lift (in)", "Shoe size", "", "???", "Compression ratio, calculated"]
)
def test_what_could_be_several_fields_or_none_is_left_to_the_shop(heading: str) -> None:
    assert not read_heading(heading).targets


def test_several_fields_that_a_heading_may_mean_are_named() -> None:
    assert read_heading("Maker").remark.startswith("which one: ")


def test_bore_and_stroke_in_one_column() -> None:
    found = read_heading("Bore x Stroke (in)")
    assert [target.path for target in found.targets] == ["bottom_end.block.bores", "bottom_end.crankshaft.stroke"]
    assert found.unit == "in"


def test_a_column_of_both_sides_has_two_fields() -> None:
    found = read_heading("Duration @ .050 int/exh")
    assert [target.path for target in found.targets] == [
        "cam.card.intake.durations[0.050 in].duration",
        "cam.card.exhaust.durations[0.050 in].duration",
    ]


def test_a_duration_of_no_side_names_the_fields_of_both() -> None:
    found = read_heading("Cam dur @.050")
    assert found.targets == ()
    assert "cam.card.intake.durations[0.050 in].duration" in found.remark
    assert "cam.card.exhaust.durations[0.050 in].duration" in found.remark


@pytest.mark.parametrize("path", _COLUMN_NAMES)
def test_every_field_that_a_name_stands_for_exists(path: str) -> None:
    target = parse_target(path)
    assert isinstance(target, FieldTarget), target
    for name in _COLUMN_NAMES[path].split(","):
        meant = read_heading(name.strip()).target
        assert meant is not None, name
        assert meant.path == path, name


def _paths(model: type[RecordModel], prefix: str) -> list[str]:
    paths = []
    for name, info in model.model_fields.items():
        shape = shape_of(info)
        if shape.kind == "section" and shape.model is not None:
            paths += _paths(shape.model, f"{prefix}{name}.")
        elif shape.kind not in ("entries", "map"):
            paths.append(f"{prefix}{name}")
    return paths


@pytest.mark.parametrize("document", [name for name in DOCUMENTS if name not in ("photos", "dyno", "plan")])
def test_every_field_is_found_by_the_names_of_its_steps(document: str) -> None:
    """A heading such as `bottom_end block deck height` leaves nothing open."""
    for path in _paths(DOCUMENTS[document], f"{document}."):
        found = read_heading(path.replace(".", " ").replace("_", " "))
        target = found.target
        if target is None:  # rods.number and bearings.rod_number have one name
            assert path.removeprefix("build.") in found.remark
            continue
        assert f"{target.document}.{target.field.removeprefix(f'{target.document}.')}" == path
