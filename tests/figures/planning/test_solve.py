"""What would have to change for a figure to come to a wanted value."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.core.types import Figure
from builder.figures.definitions import REGISTRY
from builder.figures.planning.carried import Engine
from builder.figures.planning.changed_engine import changed_engine, without_dyno_results
from builder.figures.planning.solve import (
    SolvedField,
    SolvedTarget,
    Target,
    candidates,
    read_target,
    solutions,
    solve_for,
)
from builder.record.build_profile import profile_of
from builder.record.changes import ChangeError, with_changes
from builder.record.load import read_build, read_shop
from builder.record.models.build import Build
from tests.support.demo_builds import folder_of
from tests.support.figure_records import V8, read

ROOT = Path(__file__).resolve().parents[3]
SHOP, _ = read_shop(ROOT)
SEVERAL_WAYS = {"piston_speed", "trapped_compression_ratio"}
"""Figures that two strokes, or two rods, give alike: the other one is reported as well."""


def _read(slug: str) -> Build:
    folder = folder_of(slug)
    build, _ = read_build(folder, folder.parent.parent)
    assert build is not None
    return without_dyno_results(build)


@pytest.fixture(scope="module")
def build() -> Build:
    return _read("pilot-launch-four")


def _solved(build: Build, text: str) -> SolvedTarget:
    return solve_for(build, read_target(text), SHOP)


@pytest.mark.parametrize("slug", ["pilot-launch-four", "offshore-v8", "hydroplane-two-stroke"])
def test_a_value_that_was_taken_away_is_given_back(slug: str) -> None:
    build = _read(slug)
    engine = Engine(build, profile_of(build, SHOP))
    tried = 0
    for name in REGISTRY.figures:
        if not isinstance(engine.solver.figure(name), Figure):
            continue
        for path in candidates(engine, name):
            field = SolvedField.of(engine, path, name)
            value = float(field.before.mean())
            uniform = with_changes(build, {path: field.value_of(np.full(len(field.before), value))})
            figure = Engine(uniform, engine.shop).solver.figure(name)
            without = Engine(with_changes(uniform, {path: None}), engine.shop)
            moved = with_changes(build, {path: field.value_of(np.full(len(field.before), 1.01 * value))})
            after = Engine(moved, engine.shop).solver.figure(name)
            if isinstance(figure, Figure) and isinstance(after, Figure) and after.value == pytest.approx(figure.value):
                continue  # this engine's does not follow it
            if not isinstance(figure, Figure) or isinstance(without.solver.figure(name), Figure):
                continue  # another method has it without the value
            if name in SEVERAL_WAYS:
                continue
            target = Target(slug=name, value=figure.value, text="")
            (solution,) = solutions(without, target, fields=(path,))
            assert solution.values == pytest.approx((value,), rel=1e-9, abs=1e-15), (name, path)
            tried += 1
    assert tried > 40


@pytest.mark.parametrize("wanted", ["compression_ratio=9.6", "quench=1.1 mm", "dynamic_ratio=8.0"])
def test_every_solution_set_as_a_change_gives_what_was_wanted(build: Build, wanted: str) -> None:
    solved = _solved(build, wanted)
    engine = Engine(build, profile_of(build, SHOP))
    assert len(solved.possible) >= 4
    for solution in solved.possible:
        field = SolvedField.of(engine, solution.path, solved.target.slug)
        changed = changed_engine(build, {solution.path: field.value_of(np.array(solution.values))}, SHOP)
        figure = Engine(changed.build, engine.shop).solver.figure(solved.target.slug)
        assert isinstance(figure, Figure)
        assert figure.value == pytest.approx(solved.target.value, rel=1e-9), solution.path


def test_a_wanted_ratio_is_solved_for_everything_that_moves_it(build: Build) -> None:
    solutions = {item.path: item for item in _solved(build, "compression_ratio=9.6").solutions}
    assert set(solutions) == {
        "bottom_end.block.bores",
        "bottom_end.block.deck_height",
        "bottom_end.crankshaft.stroke",
        "bottom_end.rods.length",
        "bottom_end.pistons.compression_height",
        "bottom_end.pistons.dish",
        "top_end.heads.chambers",
        "top_end.gasket.bore",
        "top_end.gasket.thickness",
    }
    assert [caution.name for caution in solutions["top_end.gasket.thickness"].new_cautions] == ["quench"]
    assert solutions["top_end.heads.chambers"].new_cautions == ()
    assert "stand out into the bore" in solutions["top_end.gasket.bore"].impossible
    assert "a dome of" in solutions["bottom_end.pistons.dish"].notes[0]


def test_what_cannot_be_machined_says_why(build: Build) -> None:
    solutions = {item.path: item for item in _solved(build, "compression_ratio=8.5").solutions}
    assert "cut but not raised" in solutions["bottom_end.block.deck_height"].impossible
    assert "only by sleeves" in solutions["bottom_end.block.bores"].impossible


def test_a_ratio_that_nothing_gives_is_marked(build: Build) -> None:
    solved = _solved(build, "compression_ratio=0.5")
    assert solved.possible == ()


@pytest.mark.parametrize("meeting", ["mean", "lowest", "highest"])
def test_which_cylinder_meets_it(build: Build, meeting: str) -> None:
    solved = solve_for(build, read_target("quench=1.1 mm"), SHOP, meeting)  # type: ignore[arg-type]
    (gasket,) = (item for item in solved.solutions if item.path == "top_end.gasket.thickness")
    quench = np.array([-0.12, -0.15, -0.15, -0.11]) + gasket.values[0] * 1e3
    expected = {"mean": quench.mean(), "lowest": quench.min(), "highest": quench.max()}[meeting]
    assert expected == pytest.approx(1.1, abs=1e-9)


def test_each_cylinder_by_itself(build: Build) -> None:
    solved = solve_for(build, read_target("compression_ratio=9.2"), SHOP, "each")
    (chamber,) = (item for item in solved.solutions if item.path == "top_end.heads.chambers")
    assert len(set(chamber.values)) == 4
    changed = changed_engine(
        build,
        {chamber.path: SolvedField.of(Engine(build, SHOP), chamber.path, "compression_ratio").value_of(
            np.array(chamber.values))},
        SHOP,
    )  # fmt: skip
    ratios = Engine(changed.build, profile_of(build, SHOP)).values("compression_ratio")
    assert ratios == pytest.approx([9.2] * 4, rel=1e-9)


def test_a_ring_gap_is_filed_and_never_closed(build: Build) -> None:
    wider = solve_for(build, read_target("top_ring_gap=0.45 mm"), SHOP, "each").solutions[0]
    assert wider.path == "assembly.fits.top_ring_gap"
    assert wider.values == pytest.approx([0.45e-3] * 4)
    assert "file off 0.04" in wider.notes[0]
    closer = solve_for(build, read_target("top_ring_gap=0.35 mm"), SHOP, "each").solutions[0]
    assert "never closer" in closer.impossible


def test_a_seat_pressure_takes_shims(build: Build) -> None:
    """The tester had 32 N/mm between its heights: 32 N more take a millimeter of shims."""
    solutions = {item.path: item for item in _solved(build, "seat_load=321.9 N").solutions}
    height = solutions["top_end.springs.installed_height"]
    assert "of shims under the springs" in height.notes[0]
    assert height.values[0] < height.before[0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("compression=9,6", "decimal point"),
        ("quench=0.040", "write 0.040 in"),
        ("quench", "is not figure=value"),
        ("compresion_ratio=9", "did you mean 'compression_ratio'"),
        ("mean_piston_speed=20", "20 ft/min or 20 m/s"),
        ("quench=3 cc", "is a unit of volume"),
    ],
)
def test_a_wrong_target_brings_the_fix(text: str, message: str) -> None:
    with pytest.raises(ChangeError, match=message):
        read_target(text)


def test_shims_for_a_lash_one_for_each_valve(tmp_path: Path) -> None:
    """A shim is thicker by what the lash is too wide."""
    build = read(
        tmp_path,
        {
            **V8,
            "build": V8["build"].replace("cylinders: 8", "cylinders: 4").replace("layout: V", "layout: inline"),
            "bottom_end": "crankshaft: {stroke: 3.480 in}\n",
            "top_end": "gasket: {thickness: 0.039 in}\n",
            "cam": "lifters: {kind: bucket, intake_shims: {unit: mm, measured: [2.50, 2.55, 2.50, 2.60]}}\n",
            "assembly": "checks: {intake_lash: {unit: mm, measured: [0.20, 0.24, 0.27, 0.18]}}\n",
        },
    )
    (shims,) = solve_for(build, read_target("intake_lash=0.22 mm"), SHOP, "each").solutions
    assert shims.path == "cam.lifters.intake_shims"
    assert shims.values == pytest.approx([2.48e-3, 2.57e-3, 2.55e-3, 2.56e-3])


def test_pushrods_from_the_checking_pushrod(tmp_path: Path) -> None:
    pushrods = "pushrods: {checking_length: 7.775 in, preload: 0.030 in, ordered_length: 7.800 in}\n"
    build = read(tmp_path, {"build": V8["build"], "top_end": pushrods})
    solved = {item.path: item for item in _solved(build, "pushrod_difference=0 in").solutions}
    assert solved["top_end.pushrods.ordered_length"].values == pytest.approx([7.805 * 0.0254])
    assert solved["top_end.pushrods.preload"].values == pytest.approx([0.025 * 0.0254])
    assert _solved(build, "pushrod_length=7.820 in").solutions[-1].values == pytest.approx([0.045 * 0.0254])


def test_injectors_and_restrictor(tmp_path: Path) -> None:
    top_end = "induction: {restrictor_diameter: 34 mm, injectors: {count: 4, flow: 42 lb/h, rated_pressure: 3 bar}}\n"
    build = read(tmp_path, {"build": V8["build"], "top_end": top_end, "delivery": "settings: {fuel_pressure: 3 bar}\n"})
    solved = {item.path: item for item in _solved(build, "injector_flow_at_pressure=50 lb/h").solutions}
    pound_per_hour = 0.45359237 / 3600
    assert solved["top_end.induction.injectors.flow"].values == pytest.approx([50 * pound_per_hour])
    assert solved["delivery.settings.fuel_pressure"].values == pytest.approx([3e5 * (50 / 42) ** 2])
    now = solve_for(build, read_target("restrictor=0.2 kg/s"), SHOP)
    assert now.now is not None
    (diameter,) = now.solutions
    assert diameter.values == pytest.approx([0.034 * (0.2 / now.now.value) ** 0.5])
