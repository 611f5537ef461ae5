"""Operating limits, each with its source."""

from __future__ import annotations

from pathlib import Path

from builder.handover.limits import limits_of
from builder.record.load import read_build, read_shop
from tests.support.handover_samples import (
    FULL,
    archive_with,
    bare_archive,
    write_yaml,
)


def _limits(archive: Path, slug: str) -> dict[str, tuple[str, str]]:
    shop, _ = read_shop(archive)
    build, _ = read_build(archive / "builds" / slug, archive)
    assert build is not None
    limits = limits_of(build, shop)
    assert len({each.subject for each in limits}) == len(limits)
    return {each.subject: (each.limit, each.source) for each in limits}


def test_every_limit_has_a_source_and_none_is_repeated(tmp_path: Path) -> None:
    limits = _limits(archive_with(tmp_path), FULL)
    assert limits["Engine speed"] == ("max. 5400 rpm, 3600 all day", "mean piston speed and the propeller")
    assert limits["Oil pressure at idle"][1] == "manufacturer's manual"
    assert not [what for what in limits if what == "Oil pressure, hot"]  # the sheet's own goes before the habit


def test_missing_limits_come_from_the_red_line_and_the_shop(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 4, "red_line": "6500 rpm", "fuel": "petrol"})
    write_yaml(archive / "builds" / "shop.yaml", {"name": "S", "guidelines": {
        "least_oil_pressure_per_1000_rpm": "10 psi", "most_coolant_temperature": "95 degC", "least_lambda": 0.8,
        "most_lambda": 0.95,
    }})  # fmt: skip
    limits = _limits(archive, "bare")
    assert limits["Engine speed"] == ("max. 6500\N{NO-BREAK SPACE}rpm", "red line")
    assert limits["Oil pressure, hot"][1] == "shop limit"
    assert "10" in limits["Oil pressure, hot"][0]
    assert limits["Coolant"][0].startswith("max. 95")
    assert limits["Lambda at full load"][0] == "0.8 to 0.95"


def test_an_air_cooled_diesel_has_no_coolant_and_no_lambda(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 1, "cooling": "air", "ignition": "compression"})
    write_yaml(archive / "builds" / "shop.yaml", {"name": "S", "guidelines": {
        "most_coolant_temperature": "95 degC", "least_lambda": 0.8, "most_lambda": 0.95}})  # fmt: skip
    assert _limits(archive, "bare") == {}
