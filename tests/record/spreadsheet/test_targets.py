"""The path of a field in a map: what it leads to, and what is wrong with one that leads nowhere."""

from __future__ import annotations

import pytest

from builder.record.spreadsheet.targets import FieldTarget, parse_target


@pytest.mark.parametrize(
    ("given", "path"),
    {
        "number": "number", "build.number": "number", "engine.cylinders": "engine.cylinders", "fuel": "",
        "engine.fuel": "engine.fuel.kind", "goals": "goals.text", "goals.targets[power]": "goals.targets[power]",
        "bottom_end.crank.stroke": "bottom_end.crankshaft.stroke",
        "bottom_end.block.bores[2]": "bottom_end.block.bores.measured[2]",
        "bottom_end.block.bores.measured[2]": "bottom_end.block.bores.measured[2]",
        "bottom_end.block.deck_height.listed": "bottom_end.block.deck_height.listed",
        "cam.card.intake.durations[0.050 in].duration": "cam.card.intake.durations[0.050 in].duration",
        "parts.parts[pistons].maker": "parts.parts[pistons].maker",
        "assembly.fits.crank end float": "assembly.fits.crank_end_play",
    }.items(),
)  # fmt: skip
def test_a_path_leads_to_its_field(given: str, path: str) -> None:
    target = parse_target(given)
    if path:
        assert isinstance(target, FieldTarget), target
        assert target.path == path
    else:
        assert isinstance(target, str)


@pytest.mark.parametrize(
    ("path", "message"),
    {
        "bottom_end.block.bore": "there is no field 'bore' in block: did you mean 'bores'?",
        "bottom_end.block": "block has fields of its own: name one of them, e.g. block.maker",
        "parts.parts.maker": "parts is a list: say which entry, e.g. parts[pistons].",
        "bottom_end.block[1].bores": "block is no list: leave out [1]",
        "engine.cylinders[2]": "[2] is not a position of cylinders",
        "bottom_end.block.bores.mesured": "'mesured' is no part of a reading: did you mean 'measured'?",
        "bottom_end.block.bores.listed[2]": "listed is one value: leave out [2]",
        "engine.cylinders.x": "cylinders has no fields of its own",
        "goals.targets": "targets is a set of pairs: say which",
        "a..b": "'a..b' is not the path of a field", "": "'' is not the path of a field",
        "a[b": "'a[b' is not the path",
    }.items(),
)  # fmt: skip
def test_a_path_that_leads_nowhere_says_why(path: str, message: str) -> None:
    found = parse_target(path)
    assert isinstance(found, str)
    assert found.startswith(message)
