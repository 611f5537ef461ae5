"""The command as a person meets it: what it prints, what it exits with, and never a traceback."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from builder.cli import main

ROOT = Path(__file__).resolve().parents[1]
BUILD = "pilot-launch-four"


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with three demo builds, published."""
    archive = tmp_path_factory.mktemp("archive")
    (archive / "builds").mkdir()
    shutil.copy(ROOT / "builds" / "shop.yaml", archive / "builds")
    for slug in (BUILD, "roadster-six", "breakdown-truck-v8"):
        shutil.copytree(ROOT / "builds" / slug, archive / "builds" / slug)
    result = run("publish", archive=archive)
    assert result.exit_code == 0, result.output
    return archive


def run(*words: str, archive: Path | None = None) -> Result:
    result = CliRunner().invoke(main, [*words, *(["--archive", str(archive)] if archive else [])])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return result


@pytest.mark.parametrize("command", sorted(main.commands))
def test_every_command_explains_itself(command: str) -> None:
    result = run(command, "--help")
    assert result.exit_code == 0
    assert len(result.output.splitlines()) > 5


def test_help_loads_nothing_that_is_slow_to_load() -> None:
    """How long it takes is measured by `python -m tests.bench --only commands`."""
    code = "import sys; from builder.cli import main; main(['--help'], standalone_mode=False); print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT)
    loaded = {name.partition(".")[0] for name in run.stdout.splitlines()[-1].split()}
    assert "click" in loaded
    assert not loaded & {"matplotlib", "mkdocs", "numpy", "PIL", "pint", "pydantic", "scipy", "typst"}


def test_new_check_publish_from_nothing(tmp_path: Path) -> None:
    assert run("new", "harbour-tug", archive=tmp_path).exit_code == 0
    assert (tmp_path / "builds" / "harbour-tug" / "build.yaml").is_file()
    assert run("check", "harbour-tug", archive=tmp_path).exit_code == 0
    again = run("new", "harbour-tug", archive=tmp_path)
    assert again.exit_code == 1
    result = run("publish", archive=tmp_path)
    assert result.exit_code == 0
    assert "left out: harbour-tug, because its status is in progress" in result.output
    everything = run("publish", "--all", archive=tmp_path)
    assert "1 build published" in everything.output


@pytest.mark.parametrize("slug", ["../escape", "Upper Case", "/abs", "a" * 200, "", "nul\x00l"])
def test_new_refuses_what_is_no_address(slug: str, tmp_path: Path) -> None:
    result = run("new", slug, archive=tmp_path)
    assert result.exit_code != 0
    assert not list(tmp_path.parent.glob("escape*"))


def test_check_tells_path_line_severity(published: Path, tmp_path: Path) -> None:
    shutil.copytree(published / "builds", tmp_path / "builds")
    (tmp_path / "builds" / BUILD / "bottom_end.yaml").write_text("block:\n  deck_height: 9.025\n")
    result = run("check", BUILD, archive=tmp_path)
    assert result.exit_code == 1
    assert f"builds/{BUILD}/bottom_end.yaml:2: error: " in result.output
    assert "9.025 in" in result.output


def test_check_suggests_the_build_that_was_meant(published: Path) -> None:
    result = run("check", "pilot-lunch-four", archive=published)
    assert result.exit_code == 1
    assert BUILD in result.output


@pytest.mark.parametrize("written", [f"builds/{BUILD}", f"builds/{BUILD}/", f"./builds/{BUILD}/", f"{BUILD}/"])
def test_a_build_may_be_named_by_the_path_of_its_folder(written: str, published: Path) -> None:
    for command in ("check", "figures", "similar"):
        assert run(command, written, archive=published).output == run(command, BUILD, archive=published).output


def test_a_plan_may_lie_beside_the_builds(published: Path, tmp_path: Path) -> None:
    shutil.copytree(published, tmp_path / "shop")
    plan = tmp_path / "shop" / "builds" / "next.yaml"
    plan.write_text("displacement: 1600 cc\n", encoding="utf-8")
    result = run("similar", str(plan), archive=tmp_path / "shop")
    assert result.exit_code == 0
    assert BUILD in result.output


def test_a_path_that_is_no_build_is_told_as_it_was_written(published: Path) -> None:
    result = run("check", f"../elsewhere/{BUILD}", archive=published)
    assert result.exit_code == 1
    assert "no such build" in result.output


def test_figures_as_lines_and_as_json(published: Path) -> None:
    lines = run("figures", BUILD, archive=published)
    assert "Compression ratio" in lines.output
    found = json.loads(run("figures", BUILD, "--json", archive=published).stdout)
    assert found["build"] == BUILD
    ratio = next(figure for figure in found["figures"] if figure["slug"] == "compression_ratio")
    keys = {"slug", "title", "value", "unit", "display", "basis", "working", "source", "positions", "caution"}
    assert set(ratio) == keys
    assert ratio["unit"] == "1"
    assert 5 < ratio["value"] < 20
    assert all(set(need) == {"slug", "needs"} and need["needs"] for need in found["needs"])


def test_figures_stay_when_inputs_conflict(published: Path, tmp_path: Path) -> None:
    shutil.copytree(published / "builds", tmp_path / "builds")
    path = tmp_path / "builds" / BUILD / "bottom_end.yaml"
    path.write_text(
        "block: {bores: 80.01 mm}\ncrankshaft: {stroke: 80.5 mm}\nrods:\n  length: 40 mm\n", encoding="utf-8"
    )
    result = run("figures", BUILD, archive=tmp_path)
    assert result.exit_code == 1
    assert "bottom_end.yaml:" in result.output
    assert "Displacement" in result.stdout


def test_find(published: Path) -> None:
    everything = run("find", archive=published)
    assert "3 builds" in everything.output
    some = run("find", "-w", "displacement=1000..2000", archive=published)
    assert BUILD in some.output
    assert "breakdown-truck-v8" not in some.output
    assert "no build fits" in run("find", "zeppelin", archive=published).output


@pytest.mark.parametrize(
    ("condition", "said"),
    [
        ("displacment=1..2", "did you mean displacement"),
        ("displacement", "field=value"),
        ("displacement=2..1", "turn them round"),
        ("displacement=1 parsec", "not a unit"),
        ("displacement=abc", "not a range"),
    ],
)
def test_find_says_what_cannot_be_read(condition: str, said: str, published: Path) -> None:
    result = run("find", "-w", condition, archive=published)
    assert result.exit_code == 1
    assert said in result.output


def test_asking_before_publishing(tmp_path: Path) -> None:
    for words in (("find",), ("similar", "x"), ("compare", "a", "b")):
        result = run(*words, archive=tmp_path)
        assert result.exit_code == 1
        assert "millbook publish" in result.output


def test_similar_to_a_build_and_to_a_plan(published: Path, tmp_path: Path) -> None:
    found = json.loads(run("similar", BUILD, "--json", archive=published).stdout)
    assert BUILD not in [relative["build"] for relative in found["relatives"]]
    assert found["no_estimate"]
    plan = tmp_path / "plan.yaml"
    plan.write_text("displacement: 360 cu in\ncylinders: 8\ncompression_ratio: 9.5\nfuel: petrol\n")
    answer = run("similar", str(plan), archive=published).output
    assert answer.splitlines()[0].endswith("breakdown-truck-v8: V8 for the breakdown truck")
    plan.write_text("cylinders: 8\ndisplacment: 360 cu in\n")
    wrong = run("similar", str(plan), archive=published)
    assert wrong.exit_code == 1
    assert "plan.yaml:2:" in wrong.output


def test_compare_writes_a_page(published: Path, tmp_path: Path) -> None:
    result = run("compare", BUILD, "roadster-six", "--out", str(tmp_path), archive=published)
    assert result.exit_code == 0, result.output
    page = Path(result.output.strip()).read_text(encoding="utf-8")
    assert "<svg" in page
    assert "Compression ratio" in page
    assert run("compare", BUILD, BUILD, archive=published).exit_code == 1


def test_schema(tmp_path: Path) -> None:
    assert run("schema", str(tmp_path / "schemas")).exit_code == 0
    assert json.loads((tmp_path / "schemas" / "build.schema.json").read_text())["type"] == "object"


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a folder that cannot be written to")
def test_read_only_archive_is_a_message(published: Path, tmp_path: Path) -> None:
    shutil.copytree(published / "builds", tmp_path / "builds")
    tmp_path.chmod(0o500)
    try:
        result = run("publish", archive=tmp_path)
        assert result.exit_code == 1
        assert "not allowed" in result.output
    finally:
        tmp_path.chmod(0o700)


def test_a_weight_that_means_nothing_is_told(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    shutil.copytree(ROOT / "builds" / "fire-pump-flat-four", tmp_path / "builds" / "fire-pump-flat-four")
    (tmp_path / "builds" / "shop.yaml").write_text("name: X\nlikeness_weights:\n  displacment: 3\n")
    result = run("check", archive=tmp_path)
    assert "builds/shop.yaml:3: warning: likeness: there is no field 'displacment'" in result.output
