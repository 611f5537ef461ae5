"""`millbook figures` prints the wear of a build's engine since the build before."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from builder.publish.record_check import figures_report

HEAD = "title: T\nstatus: finished\nengine: {cylinders: 2}\nengine_number: E-041\n"
BORES = "block: {bores: {unit: mm, at_most: 81.56, measured: [81.503, 81.505], resolution: 0.001 mm}}\n"


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    for slug, year, bores, since in (
        ("one", 2022, BORES, ""),
        ("two", 2024, BORES.replace("measured", "returned: [81.523, 81.505], measured"), "since_last: {hours: 100}\n"),
    ):
        folder = tmp_path / "builds" / slug
        folder.mkdir(parents=True)
        (folder / "build.yaml").write_text(f"{HEAD}started: {year}-01-01\nfinished: {year}-03-01\n{since}")
        (folder / "bottom_end.yaml").write_text(bores)
    return tmp_path


def test_wear_as_lines(archive: Path) -> None:
    lines = figures_report(archive, "two").lines
    assert lines[lines.index("\nWear since one (100 h)") + 1 :] == (
        "  Bores",
        "      cylinder 1: 81.523 − 81.503 = 0.020 mm, ±0.0010 mm (one last digit)",
        "          0.20 (0.19 to 0.21) µm per hour; "
        "about 290 h to the limit (270 to 300 h), at the rate seen; an estimate",
        "      cylinder 2: 81.505 − 81.505 = 0.000 mm, ±0.0010 mm (one last digit): no measurable wear",
        "          no measurable wear, so no outlook",
    )
    assert "Wear since" not in "".join(figures_report(archive, "one").lines)


def test_wear_as_json_is_in_si(archive: Path) -> None:
    (bores,) = json.loads("".join(figures_report(archive, "two", as_json=True).lines))["wear"]
    assert bores["wear"] == pytest.approx([20e-6, 0.0], abs=1e-12)
    assert bores["wear_rate"] == pytest.approx([0.2e-6, 0.0], abs=1e-12)
    assert bores["uncertainty"] == pytest.approx(1e-6)
    # (81.56 - 81.503) mm at 0.0002 mm an hour
    assert bores["running_to_limit"][0]["value"] == pytest.approx(285.0)
    assert bores["running_to_limit"][1] == {"reason": "no measurable wear"}
    assert (bores["since"], bores["hours"], bores["measurable"]) == ("one", 100.0, [True, False])
    assert "wear" not in json.loads("".join(figures_report(archive, "one", as_json=True).lines))
