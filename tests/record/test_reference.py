"""The field reference holds every field of every model, each with what a reader of it wants to know."""

from __future__ import annotations

from builder.record.models.build import DOCUMENTS
from builder.record.redaction import private_fields
from builder.record.reference import FieldRow, document_models, field_reference
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
    assert _row("build", "status").notation == "one of: finished, in progress, withdrawn"
    assert "lbf.ft" in _row("assembly", "fasteners[].torque").notation
    assert _row("dyno", "pulls[].conditions.wet_bulb").example == "61 degF"
    assert _row("top_end", "rockers.ratio").notation == "a ratio: 1.6 or 1.6:1"
    assert _row("parts", "parts[].checked[].reading").notation == "a value with any unit"


def test_who_may_see_it() -> None:
    for document in field_reference():
        private = {row.path.replace("[]", ""): row.private for row in document.rows if row.private}
        assert private == private_fields(document_models()[document.name])
