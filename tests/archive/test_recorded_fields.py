"""Every field of a record as text, known by its place and the name of its entry."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from builder.archive.recorded_fields import RecordedField, model_fields
from builder.record.load import validate
from builder.record.models.build import DOCUMENTS
from builder.record.yaml_loader import parse_yaml

NBSP = "\N{NO-BREAK SPACE}"


def fields(name: str, text: str, **options: Any) -> dict[tuple[str, str], RecordedField]:
    document, problems = parse_yaml(text.encode(), Path(f"{name}.yaml"))
    assert document is not None, problems
    model, problems = validate(document, DOCUMENTS[name])
    assert model is not None, problems
    return {(field.group, field.title): field for field in model_fields(model, name, **options)}


def test_a_reading_has_both_systems_its_positions_and_its_state_as_returned() -> None:
    text = "block:\n  bores: {unit: in, returned: [4.0312, 4.0318], measured: [4.0405, 4.0404], note: honed}\n"
    found = fields("bottom_end", text, remarks=True)
    bores = found["Block", "Bores"]
    assert (bores.written, bores.inch) == (f"4.0404 to 4.0405{NBSP}in, 2 read",) * 2
    assert bores.metric == f"102.626 to 102.629{NBSP}mm, 2 read"
    assert bores.in_full == f"4.0405, 4.0404{NBSP}in"
    assert found["Block", "Bores, as returned"].positions == ("4.0312", "4.0318")
    assert found["Block", "Bores, note"].written == "honed"
    assert ("Block", "Bores, note") not in fields("bottom_end", text)


def test_an_entry_of_a_list_is_known_by_its_name() -> None:
    one = "fluids: [{what: coolant, grade: green}, {what: engine oil, amount: 4.6 L}]\n"
    two = "fluids: [{what: engine oil, amount: 4.6 L}, {what: gear oil, grade: 75W}]\n"
    key = ("Fluids", "engine oil: amount")
    assert fields("delivery", one)[key] == fields("delivery", two)[key]
    assert ("Fluids", "coolant: grade") in fields("delivery", one)
