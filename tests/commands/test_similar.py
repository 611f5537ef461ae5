"""`millbook similar`."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from builder.commands import common
from tests.support.command_line import run
from tests.support.tiny_archive import write_build, write_sheet

BUILD = "pilot-launch-four"


def test_a_plan_may_be_in_the_folder_of_the_builds(published_archive: Path, tmp_path: Path) -> None:
    shutil.copytree(published_archive, tmp_path / "shop")
    plan = tmp_path / "shop" / "builds" / "next.yaml"
    plan.write_text("displacement: 1600 cc\n", encoding="utf-8")
    result = run("similar", str(plan), archive=tmp_path / "shop")
    assert result.exit_code == 0
    assert BUILD in result.output


def test_similar_to_a_build_and_to_a_plan(published_archive: Path, tmp_path: Path) -> None:
    found = json.loads(run("similar", BUILD, "--json", archive=published_archive).stdout)
    assert BUILD not in [relative["build"] for relative in found["relatives"]]
    assert found["no_estimate"]
    plan = tmp_path / "plan.yaml"
    plan.write_text("displacement: 360 cu in\ncylinders: 8\ncompression_ratio: 9.5\nfuel: petrol\n")
    answer = run("similar", str(plan), archive=published_archive).output
    assert answer.splitlines()[1].endswith("breakdown-truck-v8: V8 for the breakdown truck")
    plan.write_text("cylinders: 8\ndisplacment: 360 cu in\n")
    wrong = run("similar", str(plan), archive=published_archive)
    assert wrong.exit_code == 1
    assert "plan.yaml:2:" in wrong.output


def _archive(tmp_path: Path) -> Path:
    """Return an archive that was never published: two finished builds, and one that is only planned."""
    for number, slug in enumerate(("ash", "birch")):
        folder = write_build(tmp_path, slug, number=number + 1, torque=150.0 + 10 * number)
        (folder / "work.yaml").write_text(f"operations: [{{what: all of it, hours: {20 + 10 * number}}}]\n")
        (folder / "parts.yaml").write_text(f"parts: [{{part: pistons, price: {400 + 100 * number} EUR}}]\n")
        (folder / "cam.yaml").write_text("card: {maker: Heron Camshafts, number: HC 230}\n")
    planned = write_build(tmp_path, "cedar", number=3)
    write_sheet(planned, title="Planned four", status="planned")
    (planned / "bottom_end.yaml").unlink()
    with (planned / "build.yaml").open("a") as sheet:
        sheet.write("goals: {displacement: 180 cu in, compression ratio: 9..10}\n")
    return tmp_path


def test_an_archive_that_was_never_published_answers_from_its_records(tmp_path: Path) -> None:
    answer = run("similar", "ash", archive=_archive(tmp_path)).output
    assert answer.splitlines()[0] == "nothing published yet: computed from 2 finished builds"
    assert "birch: Engine birch" in answer
    assert "117 lbf ft at 4000 rpm, BMEP" in answer
    assert "cam: Heron Camshafts HC 230" in answer
    assert "no estimate: not enough similar builds (1; 5 needed)" in answer
    assert "cedar" not in answer


def test_other_processes_read_the_records_to_the_same_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = _archive(tmp_path)
    (archive / "builds" / "birch" / "cam.yaml").write_text("card: [\n")
    answer = run("similar", "ash", archive=archive).output
    assert "computed from 1 finished build; 1 build left out" in answer
    monkeypatch.setattr(common, "_FEW_BUILDS", 0)
    assert run("similar", "ash", archive=archive).output == answer
    assert run("find", archive=archive).output.startswith("nothing published yet: computed from 1 finished build")


def test_a_planned_build_is_compared_by_what_is_wanted(tmp_path: Path) -> None:
    found = json.loads(run("similar", "cedar", "--json", archive=_archive(tmp_path)).stdout)
    assert [relative["build"] for relative in found["relatives"]] == ["birch", "ash"]
    asked = {d["field"]: d["asked"] for relative in found["relatives"] for d in relative["differences"]}
    assert asked["compression_ratio"] == 9.5
    assert "cedar" not in run("similar", "ash", archive=tmp_path).output


def test_hours_and_prices_are_shown_to_the_shop_alone(tmp_path: Path) -> None:
    archive = _archive(tmp_path)
    for options in ((), ("--json",)):
        answer = run("similar", "cedar", *options, archive=archive).output
        assert "hours" not in answer
        assert "EUR" not in answer
    answer = run("similar", "cedar", "--shop", archive=archive).output
    assert "shop only: 30.0 h; parts 500 EUR" in answer
    assert "  hours 20 h to 30 h (recorded by 2 of 2)" in answer
    assert "  parts 400 EUR to 500 EUR (recorded by 2 of 2)" in answer
    quoting = json.loads(run("similar", "cedar", "--shop", "--json", archive=archive).stdout)["quoting"]
    assert [item["what"] for item in quoting] == ["hours", "parts"]


def test_a_plan_is_answered_in_the_units_it_is_written_in(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text("displacement: 170..180 cu in\ncylinders: 4\n")
    answer = run("similar", str(plan), archive=_archive(tmp_path)).output
    assert "planned: cylinders 4, displacement 175.0 cu in" in answer
    assert "lbf ft at 4000 rpm" in answer
