"""The few units defined here are those of pint's whole register, for every spelling of the record and of a log."""

from __future__ import annotations

import pint
import pytest

from builder.record.dyno_log import channels
from builder.record.quantities import units
from builder.record.quantities.dimensions import DIMENSIONS


def every_conversion() -> list[tuple[str, str]]:
    """Every pint name that a spelling leads to, with what it is turned into."""
    record = [(name, units._PINT_SI.get(each.si, each.si)) for each in DIMENSIONS.values()
              for name in each.units.values()]  # fmt: skip
    logs = [(name, channels._TARGETS[dimension]) for dimension, tables in channels._SPELLINGS.items()
            for table in tables for name in table]  # fmt: skip
    return sorted({*record, *logs})


def test_every_unit_is_as_in_the_whole_register() -> None:
    whole, ours = pint.UnitRegistry(), units.registry()
    conversions = every_conversion()
    assert len(conversions) > 120
    for name, target in conversions:
        for number in (0.0, 2.5):
            expected = whole.Quantity(number, name).to(target).magnitude
            assert ours.Quantity(number, name).to(target).magnitude == pytest.approx(expected, rel=1e-13), name
