"""`millbook find`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command_line import run
from tests.support.tiny_archive import write_build, write_sheet

BUILD = "pilot-launch-four"


def test_find(published_archive: Path) -> None:
    everything = run("find", archive=published_archive)
    assert "3 builds" in everything.output
    some = run("find", "-w", "displacement=1000..2000 cc", archive=published_archive)
    assert BUILD in some.output
    assert "breakdown-truck-v8" not in some.output
    assert "no builds match" in run("find", "zeppelin", archive=published_archive).output


@pytest.mark.parametrize(
    ("condition", "message"),
    [
        ("displacment=1..2", "did you mean displacement"),
        ("displacement", "field=value"),
        ("displacement=2..1 cc", "turn them round"),
        ("displacement=350", "in which unit? Write 350 cu in or 350 cc"),
        ("displacement=400 cu in", "no build has displacement 399.5 to 400.5 cu in: the nearest has "),
        ("fuel=E11", "did you mean E10?"),
        ("fuel=hydrogen", "no build has 'hydrogen'; builds have "),
        ("fuel=methane", "no build has 'methane'"),
        ("displacement=1 parsec", "not a unit"),
        ("displacement=abc", "not a range"),
    ],
)
def test_a_condition_that_cannot_be_read_is_explained(condition: str, message: str, published_archive: Path) -> None:
    result = run("find", "-w", condition, archive=published_archive)
    assert result.exit_code == 1
    assert message in result.output


def test_conditions_on_one_field_are_alternatives(published_archive: Path) -> None:
    one, other = ("-w", "displacement=1500..1700 cc"), ("-w", "displacement=5000..6000 cc")
    found = run("find", *one, *other, archive=published_archive).output
    assert "searched: displacement 1500 to 1700 cc or displacement 5000 to 6000 cc" in found
    for asked in (one, other):
        table = run("find", *asked, archive=published_archive).output
        slugs = [line.split()[0] for line in table.splitlines()[2:-1]]
        assert slugs
        assert all(slug in found for slug in slugs)


def test_fuel_in_any_word(published_archive: Path) -> None:
    names = {run("find", "-w", f"fuel={word}", archive=published_archive).output for word in ("petrol", "gasoline")}
    assert len(names) == 1
    assert BUILD in names.pop()


def test_manifold_and_ignition_in_any_word(published_archive: Path) -> None:
    found = run("find", "-w", "ignition_system=points", archive=published_archive).output
    assert BUILD in found
    assert "searched: ignition_system points distributor" in found
    assert BUILD not in run("find", "-w", "manifold=two plane", archive=published_archive).output


def test_fuel_family_and_octane(published_archive: Path) -> None:
    family = run("find", "-w", "fuel_family=pump gasoline", archive=published_archive).output
    assert "searched: fuel_family pump gasoline" in family
    assert run("find", "-w", "fuel_family=pump fuel", archive=published_archive).output == family
    assert BUILD in family
    assert BUILD in run("find", "-w", "octane=95 RON", archive=published_archive).output
    assert BUILD in run("find", "95", "RON", archive=published_archive).output


def test_find_and_similar_before_anything_was_published(tmp_path: Path) -> None:
    for number, slug in enumerate(("first-four", "second-four")):
        write_build(tmp_path, slug, number=number + 1)
    write_sheet(write_build(tmp_path, "third-four"), title="Not finished", status="in progress")
    found = run("find", archive=tmp_path).output
    assert "2 builds" in found
    assert "third-four" not in found
    assert "second-four" in run("similar", "first-four", archive=tmp_path).output
