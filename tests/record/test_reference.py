"""The field reference holds every field of every model, each with what a reader of it wants to know."""

from __future__ import annotations

from builder.record.models.build import DOCUMENTS
from builder.record.quantities.unit_table import DIMENSIONS
from builder.record.redaction import private_fields
from builder.record.reference import FieldRow, document_models, field_reference, unit_reference
from builder.record.traversal import field_paths


def _row(document_name: str, path: str) -> FieldRow:
    (document,) = (document for document in field_reference() if document.name == document_name)
    (row,) = (row for row in document.rows if row.path == path)
    return row


def test_every_document_in_the_order_of_the_work() -> None:
    assert [document.name for document in field_reference()] == [*DOCUMENTS, "shop"]


def test_every_field_once() -> None:
    for document in field_reference():
        paths = [row.path.replace("[]", "") for row in document.rows]
        assert paths == list(field_paths(document_models()[document.name]))
        assert len(set(paths)) == len(paths)


def test_every_row_has_its_meaning_and_how_it_is_written() -> None:
    for document in field_reference():
        assert document.description
        for row in document.rows:
            assert row.meaning
            assert row.notation


def test_rows_of_the_reference() -> None:
    assert _row("bottom_end", "block.bores").notation == "length in in, mm, thou, um"
    status = _row("build", "status")
    assert status.notation == "one of"
    assert [choice for choice, _ in status.synonyms] == [
        "planned",
        "in progress",
        "waiting for parts",
        "finished",
        "withdrawn",
    ]
    assert "lbf.ft" in _row("assembly", "fasteners[].torque").notation
    assert _row("dyno", "pulls[].conditions.wet_bulb").example == "61 degF"
    assert _row("top_end", "rockers.ratio").notation == "a ratio: 1.6 or 1.6:1"
    assert _row("parts", "parts[].checked[].reading").notation == "a value with any unit"


def test_who_may_see_it() -> None:
    for document in field_reference():
        private = {row.path.replace("[]", ""): row.private for row in document.rows if row.private}
        assert private == private_fields(document_models()[document.name])


def test_other_names_synonyms_and_channels() -> None:
    assert "crank_end_float" in _row("assembly", "fits.crank_end_play").also
    assert "centreline" in _row("cam", "card.intake.centerline").also
    assert "carb" in dict(_row("build", "engine.fuel_system").synonyms)["carburetor"]
    assert "petrol" in dict(_row("build", "engine.fuel.kind").synonyms)["gasoline"]
    columns = _row("dyno", "pulls[].columns").notation
    assert all(slug in columns for slug in ("engine_speed", "oil_pressure", "exhaust_temperature_1 to "))


def test_the_units_of_a_field_are_the_trades() -> None:
    assert _row("dyno", "conditions.barometer").notation == "pressure in inHg or hPa or kPa"
    assert _row("delivery", "fluids[].amount").notation == "a value in qt or L"


def test_every_unit_with_every_name() -> None:
    names = {row.dimension: [name for unit in row.units for name in unit] for row in unit_reference()}
    assert list(names) == list(DIMENSIONS)
    for dimension, units in names.items():
        assert sorted(units) == sorted(DIMENSIONS[dimension].units)
