"""`millbook figures`."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from tests.support.command_line import run

BUILD = "pilot-launch-four"


def test_figures_as_lines_and_as_json(published_archive: Path) -> None:
    lines = run("figures", BUILD, archive=published_archive)
    assert "Compression ratio" in lines.output
    assert lines.stdout.startswith("As delivered: 52.0 ± 0.6 kW at 4,850 rpm, ")
    found = json.loads(run("figures", BUILD, "--json", archive=published_archive).stdout)
    assert found["build"] == BUILD
    delivered = found["delivered"]
    assert (delivered["name"], delivered["assumed"], delivered["pulls"]) == ("as delivered", False, ["as delivered"])
    assert delivered["peak_power"]["half_width"] > 0
    assert found["best_during_testing"] is None  # 130 jets made 52.5 kW, within the ±
    ratio = next(figure for figure in found["figures"] if figure["slug"] == "compression_ratio")
    keys = {"slug", "title", "value", "unit", "display", "basis", "calculated_from", "working", "source", "positions"}
    keys |= {"note", "caution"}
    assert set(ratio) == keys
    assert ratio["unit"] == "1"
    assert 5 < ratio["value"] < 20
    assert all(set(need) == {"slug", "needs", "instead"} and need["needs"] for need in found["needs"])


def test_figures_stay_when_inputs_conflict(published_archive: Path, tmp_path: Path) -> None:
    shutil.copytree(published_archive / "builds", tmp_path / "builds")
    path = tmp_path / "builds" / BUILD / "bottom_end.yaml"
    path.write_text(
        "block: {bores: 80.01 mm}\ncrankshaft: {stroke: 80.5 mm}\nrods:\n  length: 40 mm\n", encoding="utf-8"
    )
    result = run("figures", BUILD, archive=tmp_path)
    assert result.exit_code == 1
    assert "bottom_end.yaml:" in result.output
    assert "Displacement" in result.stdout


def test_each_change_has_its_interval_and_verdict_as_json(published_archive: Path) -> None:
    result = json.loads(run("figures", "pilot-launch-four", "--json", archive=published_archive).stdout)
    assert result["scatter"]["from"] == "session"
    for change in result["changes"]:
        assert change["half_width"] > 0
        assert (change["confidence"], change["scatter"]) == (0.95, "session")
        within = abs(change["value"]) <= change["half_width"]
        assert change["verdict"] in (("no measurable change", "gain", "loss") if within else ("gain", "loss"))
    assert {fit["verdict"] for setting in result["settings"] for fit in setting["fits"]} <= {
        "optimum", "no optimum", "no measurable change", "still rising", "still falling",
    }  # fmt: skip


def test_the_terminal_shows_back_to_back_tests(published_archive: Path) -> None:
    output = run("figures", "pilot-launch-four", archive=published_archive).output
    section = output.split("Back-to-back tests")[1]
    assert "main jets 120 to 125 (vs first pull): no measurable change, 2,200–4,800 rpm" in section
    assert "(95 % confidence)" in section
    assert "total spark advance: peak power: no measurable change" in section
    assert "Repeatability: " in section
    assert "Pull-to-pull scatter" in section
