"""`millbook plan`."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from textwrap import dedent

import pytest

from tests.support.command_line import run
from tests.support.demo_builds import copy_builds
from tests.support.figure_records import V8, write_record

ROOT = Path(__file__).resolve().parents[2]
PLANNED = {
    **V8,
    "build": """
    title: Spring cup V8
    status: planned
    goals: {compression ratio: 9.6, power: 400 hp}
    engine: {cylinders: 8, fuel: gasoline, red_line: 6200 rpm}
    customer:
    registration:
""",
    "plan": """
    alternatives:
      pistons:
        A: {pistons.compression_height: 1.560 in, pistons.dish: 6.2 cc}
        B: {pistons.compression_height: 1.550 in, pistons.dish: 0 cc}
      gasket: {thin: {gasket.thickness: 0.027 in}, usual: {gasket.thickness: 0.039 in}}
""",
}


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    write_record(tmp_path, PLANNED)
    return tmp_path


def test_a_plan_shows_its_goals_what_is_known_and_what_waits(archive: Path) -> None:
    output = run("plan", "test-engine", archive=archive).output
    assert "Spring cup V8 (planned)" in output
    assert "Compression ratio" in output
    assert "for the dyno to show" in output
    assert "What to record next, and what waits for it" in output
    assert "Alternatives: 4 combinations of pistons and gasket, best first" in output
    assert all(len(line) <= 80 for line in output.splitlines())


def test_a_plan_with_nothing_but_a_title_and_cylinders(tmp_path: Path) -> None:
    write_record(
        tmp_path, {"build": "title: Something\nstatus: planned\nengine: {cylinders: 8}\n", "top_end": "heads:\n"}
    )
    for command in (("plan", "test-engine"), ("check", "test-engine"), ("figures", "test-engine")):
        result = run(*command, archive=tmp_path)
        assert result.exit_code == 0, result.output
    assert "nothing yet" in run("plan", "test-engine", archive=tmp_path).output
    result = run("plan", "test-engine", "--for", "compression_ratio=9.6", archive=tmp_path)
    assert "It needs" in result.output


def test_changes_are_shown_next_to_what_is(archive: Path) -> None:
    result = run(
        "plan", "test-engine", "--set", "rockers.ratio=1.7", "--set", "gasket.thickness=0.030 in", archive=archive
    )
    assert result.exit_code == 0
    assert "top_end.rockers.ratio: 1.6 -> 1.7" in result.output
    assert "Quench (squish)" in result.output
    assert "Displacement" not in result.output
    everything = run("plan", "test-engine", "--set", "rockers.ratio=1.7", "--all", archive=archive).output
    assert "Displacement" in everything


def test_a_wanted_figure_is_solved_after_the_changes(archive: Path) -> None:
    arguments = ("--set", "gasket.thickness=0.027 in", "--for", "compression_ratio=9.6", "--json")
    found = json.loads(run("plan", "test-engine", *arguments, archive=archive).stdout)
    assert found["changes"] == [{"field": "top_end.gasket.thickness", "written": "0.027 in"}]
    solutions = {item["field"]: item for item in found["for"]["solutions"]}
    assert solutions["top_end.gasket.thickness"]["before"] == [pytest.approx(0.027 * 0.0254)]
    assert {"bottom_end.pistons.dish", "top_end.heads.chambers", "bottom_end.block.deck_height"} <= set(solutions)
    assert all(set(item["figures"]) <= {"quench", "effective_compression_ratio"} for item in solutions.values())


def test_alternatives_as_json(archive: Path) -> None:
    found = json.loads(run("plan", "test-engine", "--json", archive=archive).stdout)["alternatives"]
    assert found["parts"] == {"pistons": ["A", "B"], "gasket": ["thin", "usual"]}
    assert len(found["combinations"]) == 4
    assert {"candidates", "goals", "not_met", "missed_by", "figures", "cautions"} == set(found["combinations"][0])


def test_the_planning_section_of_the_readme_works_when_followed(tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme[readme.index("## Planning an engine") : readme.index("## Privacy")]
    for block in re.findall(r"^ *```yaml\n(.*?)```", section, re.DOTALL | re.MULTILINE):
        for name, content in re.findall(
            r"^# (builds/\S+)\n(.*?)(?=^# builds/|\Z)", dedent(block), re.DOTALL | re.MULTILINE
        ):
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).write_text(content, encoding="utf-8")
    assert run("check", archive=tmp_path).output.strip() == "1 build checked, no errors"
    commands = re.findall(r"`millbook (plan spring-cup[^`]*)`", section)
    assert len(commands) >= 4
    for command in commands:
        result = run(*shlex.split(command), archive=tmp_path)
        assert result.exit_code == 0, result.output
    first = run("plan", "spring-cup", archive=tmp_path).output.partition("cautions\n")[2].splitlines()[0]
    assert first.split() == ["dished", "usual", "small", "chamber", "9.60", "0.0590", "in", "7.72", "met"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--set", "gasket.thickness=0.030"), "--set gasket.thickness=0.030: gasket.thickness: 0.030 has no unit"),
        (("--set", "gaskt.thickness=1 mm"), "did you mean 'gasket.thickness'"),
        (("--for", "quench=0.040"), "write 0.040 in"),
        (("--set", "gasket=1 mm"), "'gasket.thickness'"),
        (("--for", "power=100 kW"), "comes from the dyno"),
        (("--for", "quentch=1 mm"), "did you mean 'quench'"),
    ],
)
def test_an_error_is_one_line_with_the_fix(archive: Path, arguments: tuple[str, ...], message: str) -> None:
    result = run("plan", "test-engine", *arguments, archive=archive)
    assert result.exit_code == 1
    assert message in result.output


def test_too_many_combinations_are_refused_with_advice(archive: Path) -> None:
    many = ", ".join(f"{index}: {{gasket.thickness: 0.{index:04d} in}}" for index in range(100, 300))
    more = ", ".join(f"{index}: {{pistons.dish: {index} cc}}" for index in range(11))
    write_record(archive, {"plan": f"alternatives: {{gasket: {{{many}}}, pistons: {{{more}}}}}"})
    result = run("plan", "test-engine", archive=archive)
    assert result.exit_code == 1
    assert "plan.yaml:1" in result.output
    assert "2,200 combinations" in result.output


def test_a_finished_engine_can_be_asked_what_if(tmp_path: Path) -> None:
    copy_builds(tmp_path, "pilot-launch-four")
    before = sorted((path, path.read_bytes()) for path in (tmp_path / "builds").rglob("*") if path.is_file())
    result = run("plan", "pilot-launch-four", "--set", "rockers.ratio=1.6", archive=tmp_path)
    assert "This engine is finished: what follows is a what-if" in result.output
    assert "coil bind: 3.1 mm -> 2.5 mm, calculated, from measured" in result.output
    assert "dyno results: to be measured again" in result.output
    assert before == sorted((path, path.read_bytes()) for path in (tmp_path / "builds").rglob("*") if path.is_file())
