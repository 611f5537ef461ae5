"""`millbook similar`."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from tests.support.command_line import run

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
    assert answer.splitlines()[0].endswith("breakdown-truck-v8: V8 for the breakdown truck")
    plan.write_text("cylinders: 8\ndisplacment: 360 cu in\n")
    wrong = run("similar", str(plan), archive=published_archive)
    assert wrong.exit_code == 1
    assert "plan.yaml:2:" in wrong.output
