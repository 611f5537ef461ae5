"""Fields that can only come from a measurement: a plain value counts as measured."""

from __future__ import annotations

from builder.record.models.assembly import Checks, Fits
from builder.record.models.bottom_end import BottomEnd
from builder.record.models.fields import notes_of
from builder.record.models.top_end import TopEnd


def test_a_plain_value_by_burette_or_dial_was_measured() -> None:
    bottom = BottomEnd.model_validate({"deck_clearance": "0.006 in", "crankshaft": {"stroke": "3.480 in"}})
    assert bottom.deck_clearance is not None
    assert bottom.deck_clearance.is_measured
    assert bottom.deck_clearance.listed is None
    assert bottom.crankshaft is not None
    assert bottom.crankshaft.stroke is not None
    assert not bottom.crankshaft.stroke.is_measured  # a stroke may be the catalog's
    top = TopEnd.model_validate({"heads": {"chambers": "64.2 cc"}})
    assert top.heads is not None
    assert top.heads.chambers is not None
    assert top.heads.chambers.is_measured


def test_what_is_said_to_be_listed_stays_so() -> None:
    top = TopEnd.model_validate({"heads": {"chambers": {"listed": "64 cc"}}})
    assert top.heads is not None
    assert top.heads.chambers is not None
    assert not top.heads.chambers.is_measured


def test_every_clearance_and_check_is_a_measurement() -> None:
    for model in (Fits, Checks):
        readings = {name for name, info in model.model_fields.items() if "Reading" in str(info.annotation)}
        assert len(readings) >= 9
        assert all(notes_of(model.model_fields[name]).measured for name in readings), readings
