"""Facts of the trade and of published methods, held against whole records: YAML in, figures of a page out.

Unless a test says otherwise its numbers are common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from textwrap import dedent

import numpy as np
import pytest

from builder.figures.core.guard import Guard
from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from builder.figures.review.cautions import build_cautions
from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from tests.support.figure_records import figure_of_value

INCH, CC, CUBIC_INCH, CFM, HP = 0.0254, 1e-6, 0.0254**3, 0.3048**3 / 60, 745.6998715822702

EIGHT = "title: An eight\nengine: {layout: V, cylinders: 8, red_line: 6000 rpm, fuel: petrol}\n"


def record(archive: Path, **documents: str) -> Build:
    folder = archive / "builds" / "outside"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in {"build": EIGHT, **documents}.items():
        (folder / f"{name}.yaml").write_text(dedent(text), encoding="utf-8")
    build, problems = read_build(folder, archive)
    assert build is not None, [str(problem) for problem in problems]
    return build


def figures(archive: Path, **documents: str) -> FigureSheet:
    return compute(record(archive, **documents), Shop())


def value(sheet: FigureSheet, slug: str) -> float:
    found = sheet.value(slug)
    assert found is not None, [need.needs for need in sheet.needs if need.slug == slug]
    return found


def test_a_cam_card_becomes_events(tmp_path: Path) -> None:
    """Ground 238/244 at 0.050 in on 110, put in on 104: the events a shop reads off such a card."""
    cam = """
        card:
          lobe_separation: 110 deg
          intake: {durations: [{at: 0.050 in, duration: 238 deg}]}
          exhaust: {durations: [{at: 0.050 in, duration: 244 deg}]}
        installed: {intake_centerline: 104 deg}
    """
    sheet = figures(tmp_path, cam=cam)
    expected = {
        "intake_opens": 15, "intake_closes": 43, "exhaust_centerline": 116, "exhaust_opens": 58, "exhaust_closes": 6,
        "overlap": 21, "cam_advance": 6,
    }  # fmt: skip
    assert {slug: value(sheet, slug) for slug in expected} == pytest.approx(expected)


def test_lift_at_the_valve_and_at_the_lobe(tmp_path: Path) -> None:
    """0.618 in at the valve with a 1.76 rocker is 0.351 in at the lobe."""
    cam = "card: {intake: {lobe_lift: 0.351 in}}\n"
    lift = value(figures(tmp_path, cam=cam, top_end="rockers: {ratio: 1.76}\n"), "valve_lift")
    assert lift / INCH == pytest.approx(0.618, abs=0.0005)


def test_displacement_of_a_bored_eight(tmp_path: Path) -> None:
    """4.090 x 3.780 in, eight cylinders: 397.3 cu in; at the standard bore of 4.050 in (from memory) 389.6."""
    for bore, size in (("4.090", 397.3), ("4.050", 389.6)):
        bottom = f"block: {{bores: {bore} in}}\ncrankshaft: {{stroke: 3.780 in}}\n"
        displacement = value(figures(tmp_path, bottom_end=bottom), "displacement")
        assert displacement / CUBIC_INCH == pytest.approx(size, abs=0.05)


# What is above the piston: chamber, gasket, and the rest of it as dish, deck at nought.
def _above(dish: float, deck: str = "0.000 in") -> dict[str, str]:
    return {
        "bottom_end": f"""
            block: {{bores: 4.090 in}}
            crankshaft: {{stroke: 3.780 in}}
            pistons: {{dish: {dish:.4f} cc}}
            deck_clearance: {deck}
        """,
        "top_end": "heads: {chambers: 72 cc}\ngasket: {bore: 4.090 in, thickness: 0.027 in}\n",
    }


def test_a_ratio_of_9_28_leaves_98_3_cc(tmp_path: Path) -> None:
    """Chamber 72 cc, gasket 0.027 in compressed, final ratio 9.28: 98.3 cc above the piston."""
    gasket = np.pi / 4 * 4.090**2 * 0.027 * CUBIC_INCH / CC
    sheet = figures(tmp_path, **_above(98.3 - 72 - gasket))
    assert value(sheet, "clearance_volume") / CC == pytest.approx(98.3, abs=0.01)
    assert value(sheet, "compression_ratio") == pytest.approx(9.28, abs=0.005)


def test_a_piston_short_in_the_pin_height(tmp_path: Path) -> None:
    """A compression height 0.100 in short adds 21.5 cc and brings 9.28 to 7.8:1."""
    gasket = np.pi / 4 * 4.090**2 * 0.027 * CUBIC_INCH / CC
    right, short = (figures(tmp_path, **_above(98.3 - 72 - gasket, deck)) for deck in ("0.000 in", "0.100 in"))
    added = value(short, "clearance_volume") - value(right, "clearance_volume")
    assert added / CC == pytest.approx(21.5, abs=0.05)
    assert value(short, "compression_ratio") == pytest.approx(7.8, abs=0.05)


def test_the_short_piston_is_a_discrepancy_with_its_consequence(tmp_path: Path) -> None:
    """The same piston listed 1.760 in and measured 1.660 in: the page puts 9.28 and 7.8 side by side."""
    gasket = np.pi / 4 * 4.090**2 * 0.027 * CUBIC_INCH / CC
    bottom = f"""
        block: {{bores: 4.090 in, deck_height: 9.650 in}}
        crankshaft: {{stroke: 3.780 in}}
        rods: {{length: 6.000 in}}
        pistons: {{dish: {98.3 - 72 - gasket:.4f} cc, compression_height: {{listed: 1.760 in, measured: 1.660 in}}}}
    """
    sheet = figures(tmp_path, bottom_end=bottom, top_end=_above(0)["top_end"])
    assert value(sheet, "compression_if") == pytest.approx(9.28, abs=0.005)
    (finding,) = sheet.discrepancies
    said = [float(ratio) for ratio in re.findall(r"([0-9.]+):1", finding.consequence or "")]
    assert said == pytest.approx([9.28, 7.79], abs=0.015)


def test_lifter_preload_of_half_a_turn(tmp_path: Path) -> None:
    """Half a turn past zero lash on a 3/8-24 adjuster (thread from memory): 0.021 in."""
    cam = "lifters: {preload_turns: 0.5, adjuster_thread: 3/8-24}\n"
    assert value(figures(tmp_path, cam=cam), "lifter_preload") / INCH == pytest.approx(0.021, abs=0.0005)


def test_fasteners_in_newton_metres(tmp_path: Path) -> None:
    """90, 40 and 100 lbf ft are 122.0, 54.2 and 135.6 N m. Source of the factor: NIST SP 811."""
    joints = "".join(f"  - {{joint: joint {torque}, torque: {torque} lbf.ft}}\n" for torque in (90, 40, 100))
    torque = figures(tmp_path, assembly=f"fasteners:\n{joints}").get("fastener_torque")
    assert torque is not None
    assert [position.value for position in torque.positions] == pytest.approx([122.0, 54.2, 135.6], abs=0.05)
    shown = [(position.display, position.alternate_text) for position in torque.positions]
    spaced = [tuple((text or "").replace("\N{NO-BREAK SPACE}", " ") for text in pair) for pair in shown]
    assert spaced == [("122 N m", "90 lbf ft"), ("54 N m", "40 lbf ft"), ("136 N m", "100 lbf ft")]


def test_750_cfm_is_enough_for_397_cubic_inches_at_6000(tmp_path: Path) -> None:
    """690 cfm at 100 % volumetric efficiency: 750 cfm has headroom."""
    bottom = "block: {bores: 4.090 in}\ncrankshaft: {stroke: 3.780 in}\n"
    sheet = figures(tmp_path, bottom_end=bottom, top_end="induction: {rated_flow: 750 cfm}\n")
    assert value(sheet, "air_demand") / CFM == pytest.approx(690, abs=0.5)
    assert value(sheet, "induction_headroom") == pytest.approx(750 / 690, abs=0.001)
    assert not [caution for caution in sheet.cautions if caution.subject == "induction_headroom"]


@pytest.mark.parametrize(
    ("material", "power", "strength"),
    [
        ("cast iron", 450, "80000"),
        ("nodular iron", 450, "95000"),
        ("cast steel", 540, "105000"),
        ("forged 4340", 1600, "156000"),
    ],
)
def test_a_build_over_its_cranks_guideline(tmp_path: Path, material: str, power: float, strength: str) -> None:
    """Cast iron to 80,000 psi; nodular 95,000 psi, 400 hp; cast steel 105,000 psi, 500 to 530 hp; 4340 156,000 psi,
    1,500 hp: over it there is a caution that says the rule is a habit, to be set in shop.yaml."""
    build = record(tmp_path, bottom_end=f"crankshaft: {{material: {material}}}\n")
    sheet = compute(build, Shop())

    def at(horsepower: float) -> list[str]:
        made = figure_of_value("peak_power", horsepower * HP, f"{horsepower:g}", "hp")
        found = build_cautions(build, Shop(), replace(sheet, figures=(*sheet.figures, made)), Guard("build"))
        return [caution.text for caution in found if caution.subject == "peak_power"]

    (text,) = at(power)
    assert strength in text
    assert "shop.yaml" in text
    assert not at(390)


# Uncertainty. Source: JCGM 101:2008, propagation by Monte Carlo, against the first-order propagation of JCGM 100.

_STATED = """
    block:
      deck_height: {measured: 9.0250 in, resolution: 0.0010 in}
      bores: {measured: 4.0305 in, resolution: 0.0010 in}
      main_bores: {measured: 2.6410 in, resolution: 0.0001 in}
    crankshaft:
      stroke: {measured: 3.4800 in, resolution: 0.0010 in}
      main_journals: {measured: 2.4483 in, resolution: 0.0001 in}
    rods: {length: {measured: 5.7000 in, resolution: 0.0020 in}}
    pistons:
      compression_height: {measured: 1.5600 in, resolution: 0.0010 in}
      dish: {measured: 6.20 cc, resolution: 0.20 cc}
    bearings: {main_shell: {measured: 0.0950 in, resolution: 0.0001 in}}
"""
_STATED_TOP = """
    heads: {chambers: {measured: 64.20 cc, resolution: 0.50 cc}}
    gasket: {bore: {measured: 4.100 in, resolution: 0.005 in}, thickness: {measured: 0.0390 in, resolution: 0.0010 in}}
"""


def _draws(rng: np.random.Generator, size: int, value: float, resolution: float) -> np.ndarray:
    """What the true value may be: anywhere within half a division of the reading."""
    return value + resolution * rng.uniform(-0.5, 0.5, size)


def test_uncertainty_agrees_with_monte_carlo(tmp_path: Path) -> None:
    """Monte Carlo as in JCGM 101, fixed seed: readings anywhere within half a division; within 5 %."""
    sheet = figures(tmp_path, bottom_end=_STATED, top_end=_STATED_TOP)
    rng, size = np.random.default_rng(20240517), 400_000
    deck, bore, stroke, rod, height = (
        INCH * _draws(rng, size, value, resolution)
        for value, resolution in (
            (9.0250, 0.0010), (4.0305, 0.0010), (3.4800, 0.0010), (5.7000, 0.0020), (1.5600, 0.0010),
        )
    )  # fmt: skip
    gasket_bore, gasket = (INCH * _draws(rng, size, *given) for given in ((4.100, 0.005), (0.0390, 0.0010)))
    dish, chamber = (CC * _draws(rng, size, *given) for given in ((6.20, 0.20), (64.20, 0.50)))
    below = deck - (stroke / 2 + rod + height)
    swept = np.pi / 4 * bore**2 * stroke
    above = chamber + np.pi / 4 * gasket_bore**2 * gasket + np.pi / 4 * bore**2 * below + dish
    housing, shell, journal = (INCH * _draws(rng, size, v, 0.0001) for v in (2.6410, 0.0950, 2.4483))
    drawn = {
        "compression_ratio": (swept + above) / above,
        "quench": below + gasket,
        "main_oil_clearance": housing - 2 * shell - journal,
    }
    for slug, values in drawn.items():
        figure = sheet.get(slug)
        assert figure is not None
        assert figure.uncertainty is not None
        assert figure.value == pytest.approx(float(np.mean(values)), rel=1e-3), slug
        assert figure.uncertainty / 2 == pytest.approx(float(np.std(values)), rel=0.05), slug
        assert "±" in figure.display


def test_the_mean_of_eight_cylinders_is_surer_than_one(tmp_path: Path) -> None:
    """Chambers poured one by one partly cancel in the mean; one stroke for all does not (JCGM 100, 5.2)."""
    bottom = _STATED.replace("bores: {measured: 4.0305 in,", f"bores: {{measured: [{', '.join(['4.0305 in'] * 8)}],")
    top = _STATED_TOP.replace("measured: 64.20 cc,", f"measured: [{', '.join(['64.20 cc'] * 8)}],")
    figure = figures(tmp_path, bottom_end=bottom, top_end=top).get("compression_ratio")
    assert figure is not None
    assert len(figure.positions) == 8
    rng, size = np.random.default_rng(7), 60_000
    deck, stroke, rod, height = (
        INCH * _draws(rng, size, value, resolution)[:, None]
        for value, resolution in ((9.0250, 0.0010), (3.4800, 0.0010), (5.7000, 0.0020), (1.5600, 0.0010))
    )
    gasket_bore, gasket = (INCH * _draws(rng, size, *given)[:, None] for given in ((4.100, 0.005), (0.0390, 0.0010)))
    dish = CC * _draws(rng, size, 6.20, 0.20)[:, None]
    bore = INCH * _draws(rng, size * 8, 4.0305, 0.0010).reshape(size, 8)
    chamber = CC * _draws(rng, size * 8, 64.20, 0.50).reshape(size, 8)
    above = (
        chamber + np.pi / 4 * gasket_bore**2 * gasket + np.pi / 4 * bore**2 * (deck - stroke / 2 - rod - height) + dish
    )
    means = np.mean(1 + np.pi / 4 * bore**2 * stroke / above, axis=1)
    assert figure.uncertainty is not None
    assert figure.uncertainty / 2 == pytest.approx(float(np.std(means)), rel=0.05)
