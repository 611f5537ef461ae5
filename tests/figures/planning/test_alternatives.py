"""Every combination of the parts that a plan leaves to choose from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from builder.figures.evaluate import compute
from builder.figures.planning.alternatives import Combinations, alternatives
from builder.figures.planning.changed_engine import changed_engine, open_cautions, without_dyno_results
from builder.record.alternatives import read_alternatives
from builder.record.load import read_build, read_shop
from builder.record.models.build import Build
from builder.record.models.plan import Plan
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from tests.support.demo_builds import folder_of
from tests.support.figure_records import V8, write_record

ROOT = Path(__file__).resolve().parents[3]
PLAN = """
    alternatives:
      pistons:
        flat top: {pistons.compression_height: 1.560 in, pistons.dish: 5 cc}
        dished: {pistons.compression_height: 1.560 in, pistons.dish: 16 cc}
      gasket:
        thin: {gasket.thickness: 0.015 in}
        usual: {gasket.thickness: 0.039 in}
        thick: {gasket.thickness: 0.060 in}
      rockers:
        "1.5": {rockers.ratio: 1.5}
        "1.7": {rockers.ratio: 1.7}
"""
GOALS = "    goals: {compression ratio: 9.4, power: 400 hp}\n"

Reader = Callable[[str], tuple[Build | None, list[Problem]]]


@pytest.fixture
def read(tmp_path: Path) -> Reader:
    def read(plan: str) -> tuple[Build | None, list[Problem]]:
        folder = write_record(tmp_path, {**V8, "build": V8["build"] + GOALS, "plan": plan})
        return read_build(folder, tmp_path)

    return read


def _found(read: Reader, plan: str = PLAN) -> tuple[Build, Combinations]:
    build, problems = read(plan)
    assert build is not None, problems
    choices, problems = read_alternatives(build)
    assert problems == []
    return build, alternatives(build, choices, Shop())


def test_every_combination_is_there_once(read: Reader) -> None:
    _, found = _found(read)
    names = [tuple(candidate.name for candidate in item.candidates) for item in found.combinations]
    assert len(names) == 12
    assert set(names) == set(product(["flat top", "dished"], ["thin", "usual", "thick"], ["1.5", "1.7"]))


def test_each_is_what_the_changes_by_themselves_give(read: Reader) -> None:
    """What is computed once for several combinations is what each would have by itself."""
    build, found = _found(read)
    for item in found.combinations:
        values = {change.path: change.value for candidate in item.candidates for change in candidate.changes}
        sheet = compute(changed_engine(build, values, Shop()).build, Shop())
        for slug, figure in item.figures.items():
            assert figure.value == pytest.approx(sheet[slug].value, rel=1e-12), slug
        assert {caution.name for caution in item.cautions} == {key[0] for key in open_cautions(sheet)}


def test_what_meets_the_goals_comes_first_then_what_has_fewest_cautions(read: Reader) -> None:
    _, found = _found(read)
    assert found.goals == ("Compression ratio",)
    assert found.open_goals == ("Power",)
    keys = [(item.unmet, round(item.miss, 9), len(item.cautions)) for item in found.combinations]
    assert keys == sorted(keys)
    assert found.combinations[-1].miss > 0


def test_without_a_goal_the_cautions_decide(tmp_path: Path) -> None:
    build, _ = read_build(write_record(tmp_path, {**V8, "plan": PLAN}), tmp_path)
    assert build is not None
    found = alternatives(build, read_alternatives(build)[0], Shop())
    assert found.goals == ()
    counts = [len(item.cautions) for item in found.combinations]
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]


@pytest.mark.parametrize(
    ("plan", "line", "message"),
    [
        ("{pistons: {A: {pistons.dish: 5}}}", 1, "pistons, A: pistons.dish: 5 has no unit: write 5 cc"),
        ("{pistons: {A: {pistons.dsh: 5 cc}}}", 1, "did you mean 'pistons.dish'"),
        ("\n  a:\n    b: {rockers.ratio: 1.5}\n  c:\n    d: {rockers.ratio: 1.6}", 5, "is set by a too"),
        ("7", 1, "alternatives"),
    ],
)
def test_an_error_has_its_line_and_the_fix(read: Reader, plan: str, line: int, message: str) -> None:
    build, problems = read(f"alternatives: {plan}")
    assert build is None
    (problem,) = problems
    assert problem.path.name == "plan.yaml"
    assert problem.line == line
    assert message in problem.message


def test_too_many_are_reported_with_advice(read: Reader) -> None:
    candidates = ", ".join(f"{index}: {{gasket.thickness: 0.0{index} in}}" for index in range(10, 60))
    others = ", ".join(f"{index}: {{pistons.dish: {index} cc}}" for index in range(10, 60))
    build, problems = read(f"alternatives: {{gaskets: {{{candidates}}}, pistons: {{{others}}}}}")
    assert build is not None
    (problem,) = problems
    assert "2,500 combinations (50 gaskets, 50 pistons)" in problem.message
    assert "decide on one part first" in problem.message


def test_measurements_are_carried_along_in_every_combination() -> None:
    """An engine with everything measured: deck, springs, valves, degree wheel, clearances."""
    build, _ = read_build(folder_of("pilot-launch-four"), ROOT)
    assert build is not None
    plan = Plan.model_validate(
        {
            "alternatives": {
                "pistons": {
                    "A": {"pistons.compression_height": "38.1 mm", "block.bores": "81.6 mm"},
                    "B": {"pistons.compression_height": "37.5 mm", "pistons.dish": "1 cc"},
                },
                "gasket": {"thin": {"gasket.thickness": "0.8 mm"}, "thick": {"gasket.thickness": "1.6 mm"}},
                "rockers": {"low": {"rockers.ratio": "1.4"}, "high": {"rockers.ratio": "1.8"}},
                "timing": {
                    "early": {"cam.installed.intake_centerline": "98 deg"},
                    "late": {"cam.installed.intake_centerline": "110 deg"},
                },
            }
        }
    )
    build = without_dyno_results(replace(build, plan=plan))
    choices, problems = read_alternatives(build)
    assert problems == []
    shop, _ = read_shop(ROOT)
    for item in alternatives(build, choices, shop).combinations:
        values = {change.path: change.value for candidate in item.candidates for change in candidate.changes}
        sheet = compute(changed_engine(build, values, shop).build, shop)
        for slug, figure in item.figures.items():
            assert figure.value == pytest.approx(sheet[slug].value, rel=1e-12), slug
        assert {caution.name for caution in item.cautions} == {key[0] for key in open_cautions(sheet)}


@pytest.mark.parametrize(
    "plan",
    [
        "alternatives:",
        "alternatives: {}",
        "alternatives: {pistons: {}}",
        "alternatives: {pistons: {A: {}, B: {}}}",
        "alternatives: {pistons: }",
        "alternatives: {pistons: {A: }}",
        "alternatives: {pistons: {A: 7}}",
        "alternatives: [1, 2]",
        "alternatives: {pistons: {A: {gasket.thickness: [[[1]]]}}}",
        "alternatives: {pistons: {A: {gasket.thickness: {measured: {a: b}}}}}",
        "alternatives: {pistons: {A: {'': 1}, '.': {..: 2}}}",
        "alternatives: {pistons: {A: {dyno.pulls: 3}}}",
        "alternatives: {pistons: {A: {engine.cylinders: 0}}}",
    ],
)
def test_a_hostile_plan_is_answered_or_refused_with_its_line(read: Reader, plan: str) -> None:
    build, problems = read(plan)
    if build is None:
        assert problems
        assert all(problem.path.name == "plan.yaml" and problem.line >= 1 for problem in problems)
        return
    choices, problems = read_alternatives(build)
    assert problems == []
    assert len(alternatives(build, choices, Shop()).combinations) <= 2
