"""The field reference holds every field of every model, each with what a reader of it wants to know."""

from __future__ import annotations

from builder.record.models.build import DOCUMENTS
from builder.record.redaction import private_fields
from builder.record.reference import FieldRow, document_models, field_reference
from builder.record.traversal import field_paths


def _row(file: str, path: str) -> FieldRow:
    (document,) = (document for document in field_reference() if document.file == file)
    (row,) = (row for row in document.rows if row.path == path)
    return row


def test_every_document_in_the_order_of_the_work() -> None:
    assert [document.name for document in field_reference()] == [*DOCUMENTS, "shop"]
    assert [document.required for document in field_reference()].count(True) == 1


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
            assert row.depth == row.path.count(".")
            assert row.example or row.kind in ("section", "entries")


def test_rows_of_the_reference() -> None:
    bores = _row("bottom_end.yaml", "block.bores")
    assert (bores.title, bores.positions, bores.plausible_range) == ("Bores", "cylinder", ("25 mm", "400 mm"))
    assert bores.notation == "length in in, mm, thou, um"
    status = _row("build.yaml", "status")
    assert status.notation == "one of: finished, in progress, withdrawn"
    torque = _row("assembly.yaml", "fasteners[].torque")
    assert (torque.depth, torque.kind) == (1, "reading")
    assert "lbf.ft" in torque.notation
    assert _row("dyno.yaml", "pulls[].conditions.wet_bulb").alternative_to == "relative_humidity"
    assert _row("top_end.yaml", "rockers.ratio").notation == "a plain number"
    assert _row("parts.yaml", "parts[].checked[].reading").notation == "a value with any unit"


def test_who_may_see_it() -> None:
    for document in field_reference():
        private = {row.path.replace("[]", ""): row.private for row in document.rows if row.private}
        assert private == private_fields(document_models()[document.name])
