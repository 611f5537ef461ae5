"""The shop's guidelines: broken ones are cautions with whose rule it is, never errors, and shop.yaml sets them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from textwrap import dedent

import pytest

from builder.figures.core.guard import Guard
from builder.figures.core.types import Caution, FigureSheet
from builder.figures.evaluate import compute
from builder.figures.review.cautions import build_cautions
from builder.figures.review.guideline_defaults import guideline_value
from builder.record.load import build_folders, read_build, read_shop
from builder.record.models.delivery import CAUTIONS
from builder.record.models.shop import Guidelines, Shop
from builder.record.redaction import without_private
from tests.support.figure_records import BOTTOM_END, BUILD, CAM, TOP_END, V8, figure_of_value, read, sheet_of

GUARD = Guard("build")
HP = 745.6998715822702


def with_power(sheet: FigureSheet, horsepower: float) -> FigureSheet:
    """The sheet with a peak power of so much, as a dyno would have given it."""
    like = sheet.get("displacement")
    assert like is not None

    peak = figure_of_value("peak_power", horsepower * HP, f"{horsepower:g}", "hp")
    return replace(sheet, figures=(*sheet.figures, peak))


def about(cautions: tuple[Caution, ...], slug: str) -> list[Caution]:
    return [caution for caution in cautions if caution.subject == slug]


@pytest.mark.parametrize(
    ("material", "horsepower", "broken"),
    [
        ("cast iron", 399, False), ("cast iron", 401, True),
        ("nodular iron", 399, False), ("nodular iron", 401, True), ("nodular iron", 550, True),
        ("cast steel", 514, False), ("cast steel", 516, True),
        ("forged 4340", 1499, False), ("forged 4340", 1501, True),
        ("forged steel", 2000, False),
    ],
)  # fmt: skip
def test_crank_against_power(tmp_path: Path, material: str, horsepower: float, broken: bool) -> None:
    documents = {**V8, "bottom_end": BOTTOM_END.replace("forged steel", material)}
    build = read(tmp_path, documents)
    sheet = with_power(compute(build, Shop()), horsepower)
    found = about(build_cautions(build, Shop(), sheet, GUARD), "peak_power")
    assert bool(found) == broken
    for caution in found:
        assert material in caution.sentence
        assert "shop.yaml" in caution.guideline
        assert caution.where is not None
        assert caution.where[0].name == "bottom_end.yaml"


def test_the_shop_sets_its_own_crank_guideline(tmp_path: Path) -> None:
    build = read(tmp_path, {**V8, "bottom_end": BOTTOM_END.replace("forged steel", "nodular iron")})
    trusting = Shop.model_validate({"guidelines": {"crank_power": [{"material": "nodular iron", "up_to": "560 hp"}]}})
    sheet = with_power(compute(build, trusting), 550)
    assert not about(build_cautions(build, trusting, sheet, GUARD), "peak_power")
    sheet = with_power(compute(build, trusting), 561)
    (caution,) = about(build_cautions(build, trusting, sheet, GUARD), "peak_power")
    assert "shop guideline" in caution.guideline
    # What the shop left out keeps its usual value, and cast iron stays below the shop's own nodular iron.
    cast = read(tmp_path, {**V8, "bottom_end": BOTTOM_END.replace("forged steel", "cast iron")})
    assert not about(build_cautions(cast, trusting, with_power(compute(cast, trusting), 500), GUARD), "peak_power")
    assert about(build_cautions(cast, trusting, with_power(compute(cast, trusting), 561), GUARD), "peak_power")


def test_quench_too_tight_and_too_wide(tmp_path: Path) -> None:
    deck = "    deck_clearance: {unit: in, measured: [0.005, -0.009, 0.005, 0.005, 0.005, 0.025, 0.005, 0.005]}\n"
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": BOTTOM_END + deck})
    tight, wide = about(sheet.cautions, "quench")
    assert "0.030 in at cylinder 2" in tight.sentence.replace("\N{NO-BREAK SPACE}", " ")
    assert "0.064 in at cylinder 6" in wide.sentence.replace("\N{NO-BREAK SPACE}", " ")
    figure = sheet.get("quench")
    assert figure is not None
    assert len(figure.cautions) == 2
    own = Shop.model_validate({"guidelines": {"least_quench": "0.7 mm", "most_quench": "1.7 mm"}})
    assert not about(sheet_of(tmp_path, {**V8, "bottom_end": BOTTOM_END + deck}, own).cautions, "quench")


def test_a_diesel_has_no_quench_guideline(tmp_path: Path) -> None:
    diesel = BUILD.replace("fuel: petrol", "ignition: compression\n      fuel: diesel")
    assert not about(sheet_of(tmp_path, {**V8, "build": diesel}).cautions, "quench")


def test_piston_speed_by_type(tmp_path: Path) -> None:
    cast = BOTTOM_END.replace("type: forged", "type: cast")
    fast = BUILD.replace("6000 rpm", "6200 rpm")  # 2 x 3.480 in x 6200/min = 18.27 m/s
    assert about(sheet_of(tmp_path, {**V8, "build": fast, "bottom_end": cast}).cautions, "mean_piston_speed")
    assert not about(sheet_of(tmp_path, {**V8, "bottom_end": cast}).cautions, "mean_piston_speed")
    assert not about(sheet_of(tmp_path, {**V8, "build": fast}).cautions, "mean_piston_speed")


def test_effective_ratio_is_checked_near_the_seat_only(tmp_path: Path) -> None:
    squeeze = TOP_END.replace("measured: [64.2, 64.0, 64.1, 64.2, 64.0, 64.1, 64.3, 64.1]", "measured: 50.0")
    installed = CAM + "    installed: {intake_centerline: 104 deg}\n"
    slug = "effective_compression_ratio"
    at_050 = sheet_of(tmp_path, {**V8, "top_end": squeeze, "cam": installed})
    assert (at_050.value(slug) or 0) > 9
    assert not about(at_050.cautions, slug)
    seat = installed.replace("[{at: 0.050 in, duration: 230 deg}]", "[{at: seat, duration: 250 deg}]")
    (caution,) = about(sheet_of(tmp_path, {**V8, "top_end": squeeze, "cam": seat}).cautions, slug)
    assert "gasoline" in caution.sentence
    methanol = BUILD.replace("fuel: petrol", "fuel: methanol")
    assert not about(sheet_of(tmp_path, {**V8, "build": methanol, "top_end": squeeze, "cam": seat}).cautions, slug)
    blown = BUILD.replace("fuel: petrol", "fuel: petrol\n      induction: turbocharged")
    assert not about(sheet_of(tmp_path, {**V8, "build": blown, "top_end": squeeze, "cam": seat}).cautions, slug)


def test_springs_timing_and_induction(tmp_path: Path) -> None:
    top = TOP_END + "    springs: {installed_height: 1.800 in, solid_height: 1.220 in}\n"
    top += "    induction: {rated_flow: 500 cfm}\n"
    delivery = "settings: {total_timing: 44 deg}\n"
    found = sheet_of(tmp_path, {**V8, "top_end": top, "delivery": delivery}).cautions
    assert about(found, "coil_bind_clearance")
    assert about(found, "induction_headroom")
    assert about(found, "delivery.settings.total_timing")
    measured = "checks: {coil_bind: {unit: in, measured: 0.070}}\n"
    relieved = sheet_of(tmp_path, {**V8, "top_end": top, "assembly": measured}).cautions
    assert not about(relieved, "coil_bind_clearance")


@pytest.mark.parametrize(("limiter", "cautioned"), [("6000 rpm", False), ("6100 rpm", True)])
def test_a_rev_limiter_above_the_red_line(tmp_path: Path, limiter: str, cautioned: bool) -> None:
    documents = {
        **V8,
        "top_end": f"{TOP_END.rstrip()}\n    ignition: {{rev_limiter: {limiter}}}\n",
    }
    found = [caution for caution in sheet_of(tmp_path, documents).cautions if caution.name == "rev_limiter"]
    assert bool(found) == cautioned
    assert all("6000" in caution.guideline for caution in found)


def test_a_fit_out_of_range_is_a_caution_unless_accepted(tmp_path: Path) -> None:
    assembly = "fits: {crank_end_play: {unit: in, allowed: 0.004..0.008, measured: 0.009}}\n"
    (caution,) = about(sheet_of(tmp_path, {**V8, "assembly": assembly}).cautions, "crank_end_play")
    assert caution.where is not None
    assert caution.where[0].name == "assembly.yaml"
    accepted = assembly.replace("measured: 0.009", "measured: 0.009, accepted: {why: shells are new, by: RT}")
    assert not about(sheet_of(tmp_path, {**V8, "assembly": accepted}).cautions, "crank_end_play")


def test_used_parts_that_nobody_checked_are_cautions(tmp_path: Path) -> None:
    parts = """
        parts:
          - {part: crankshaft, source: used}
          - {part: rods, source: mixed lot, checked: [{what: bend, found: straight}]}
          - {part: pistons, source: new}
          - {part: water pump, source: customer's own, verdict: not checked}
    """
    found = sheet_of(tmp_path, {**V8, "parts": parts}).cautions
    assert [c.subject for c in found if c.subject.startswith("parts.")] == ["parts.parts.0", "parts.parts.3"]


def test_implausibly_high_bmep_is_a_caution(tmp_path: Path) -> None:
    build = read(tmp_path, V8)
    sheet = compute(build, Shop())

    high = figure_of_value("bmep", 1.6e6, "232", "psi")
    found = build_cautions(build, Shop(), replace(sheet, figures=(*sheet.figures, high)), GUARD)
    assert about(found, "bmep")
    blown = read(
        tmp_path, {**V8, "build": BUILD.replace("fuel: petrol", "fuel: petrol\n      induction: supercharged")}
    )
    assert not about(build_cautions(blown, Shop(), replace(sheet, figures=(*sheet.figures, high)), GUARD), "bmep")


def test_every_limit_has_a_usual_value_and_can_be_set() -> None:
    own = {
        "least_quench": "1 mm", "most_quench": "2 mm", "least_intake_piston_to_valve": "2 mm",
        "least_exhaust_piston_to_valve": "3 mm", "least_coil_bind": "1 mm", "most_bmep_natural": "12 bar",
        "most_volumetric_efficiency": 1.1, "ring_gap_per_bore": 0.004, "oil_clearance_per_journal": 0.0011,
        "leak_down_spread": 4, "cranking_spread": 0.85, "most_timing": "38 deg", "most_injector_duty": 0.8,
        "least_induction_headroom": 1.1,
    }  # fmt: skip
    shop = Shop(guidelines=Guidelines.model_validate(own))
    for name in own:
        usual, set_ = guideline_value(Shop(), name), guideline_value(shop, name)
        assert not usual.set_by_shop
        assert set_.set_by_shop
        assert usual.value > 0
        assert usual.value != set_.value, name


@pytest.mark.parametrize(
    ("deck", "gasket", "cautioned"),
    [
        ("0.0130", "0.022", False),  # in binary fractions 0.034999999999999996
        ("0.0129", "0.022", True),
        ("0.0010", "0.034", False),
        ("0.021", "0.039", False),  # exactly at the widest, 0.060 in
        ("0.0211", "0.039", True),
    ],
)
def test_a_quench_that_equals_its_limit_passes(tmp_path: Path, deck: str, gasket: str, cautioned: bool) -> None:
    """0.035 to 0.060 in, both ends allowed: common practice, no source."""
    documents = {
        **V8,
        "bottom_end": f"{BOTTOM_END}    deck_clearance: {{unit: in, measured: {deck}}}\n",
        "top_end": TOP_END.replace("thickness: 0.039", f"thickness: {gasket}"),
    }
    assert bool(about(sheet_of(tmp_path, documents).cautions, "quench")) == cautioned


def test_a_coil_bind_clearance_that_equals_its_limit_passes(tmp_path: Path) -> None:
    """1.800 - 0.536 - 1.204 = 0.060 in, the least that is allowed: common practice, no source."""
    springs = TOP_END + "    springs: {installed_height: 1.800 in, solid_height: 1.204 in}\n"
    assert not about(sheet_of(tmp_path, {**V8, "top_end": springs}).cautions, "coil_bind_clearance")
    tighter = springs.replace("1.204", "1.205")
    assert about(sheet_of(tmp_path, {**V8, "top_end": tighter}).cautions, "coil_bind_clearance")


TIGHT = {
    **V8,
    "bottom_end": BOTTOM_END + "    deck_clearance: {unit: in, measured: 0.0100}\n",
    "top_end": TOP_END.replace("thickness: 0.039", "thickness: 0.022"),
}
ANSWER = "accepted: [{caution: quench, why: steel rods and 0.032 in has held before, by: JB}]\n"


def test_an_accepted_caution_says_why_and_by_whom(tmp_path: Path) -> None:
    (caution,) = about(sheet_of(tmp_path, {**TIGHT, "delivery": ANSWER}).cautions, "quench")
    assert caution.is_accepted
    assert caution.is_shown
    assert caution.answer == "Accepted by JB: steel rods and 0.032 in has held before"
    (open_caution,) = about(sheet_of(tmp_path, {**TIGHT, "delivery": ""}).cautions, "quench")
    assert not open_caution.is_accepted
    assert open_caution.answer == ""


def test_an_accepted_caution_is_shown_only_with_its_reason(tmp_path: Path) -> None:
    build = read(tmp_path, {**TIGHT, "delivery": ANSWER})
    public, customer = (compute(without_private(build, keep), Shop()) for keep in ((), ("delivery.accepted.why",)))
    assert not about(public.shown_cautions, "quench")
    assert public["quench"].cautions == ()
    (caution,) = about(customer.shown_cautions, "quench")
    assert "Accepted by JB" in caution.text
    assert "Accepted by JB" in customer["quench"].cautions[0]


def test_an_answer_to_no_caution_is_a_warning_with_its_line(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "delivery": ANSWER.replace("quench", "total timing")})
    (problem,) = [problem for problem in sheet.problems if problem.path.name == "delivery.yaml"]
    assert (problem.line, problem.severity) == (1, "warning")
    assert problem.message == "there is no caution on total_timing to accept: leave the entry out"


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("{caution: qench, why: a, by: b}", "no caution is called 'qench': did you mean 'quench'?"),
        ("{caution: xyzzy, why: a, by: b}", "known are correction_range, peak_at_end"),
        ("{caution: quench, by: b}", "write why it was accepted and by whom"),
        ("quench", "accepted"),
    ],
)
def test_an_answer_that_cannot_be_read_says_what_to_write(tmp_path: Path, written: str, message: str) -> None:
    folder = tmp_path / "builds" / "test-engine"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text(dedent(BUILD), encoding="utf-8")
    (folder / "delivery.yaml").write_text(f"accepted: [{written}]\n", encoding="utf-8")
    build, problems = read_build(folder, tmp_path)
    assert build is None
    (problem,) = [problem for problem in problems if problem.severity == "error"]
    assert problem.path.name == "delivery.yaml"
    assert message in problem.message


def test_every_caution_has_a_name_that_the_record_knows() -> None:
    """Over the demo archive, whose engines break many guidelines, and every guideline of the pulls."""
    root = Path(__file__).resolve().parents[3]
    shop, _ = read_shop(root)
    names = {"oil_pressure", "oil_temperature", "coolant_temperature", "lambda", "exhaust_spread", "blow_by_share"}
    for folder in build_folders(root):
        build, _ = read_build(folder, root)
        assert build is not None
        sheet = compute(build, shop)
        names |= {caution.name for caution in sheet.cautions}
        names |= {violation.channel for violation in (sheet.session.violations if sheet.session else ())}
        names |= {clearance.caution_name for clearance in sheet.clearances}
    assert names <= {*CAUTIONS}


def test_cautions_speak_of_the_engine_as_delivered(tmp_path: Path) -> None:
    """The oil ran hot before the cooler was fitted: that is a note of the session, no caution on the engine."""
    rows = ((speed, 200 + speed / 100) for speed in range(2000, 5000, 100))
    folder = tmp_path / "builds" / "test-engine"
    folder.mkdir(parents=True, exist_ok=True)
    table = [f"{speed},{torque}" for speed, torque in rows]
    for name, oil in (("hot", 150), ("cooled", 100)):
        text = "\n".join(f"{row},{oil}" for row in table)
        (folder / f"{name}.csv").write_text(f"rpm,torque (N m),oil temperature (degC)\n{text}\n", encoding="utf-8")
    dyno = """
        readings: observed
        pulls:
          - {name: first, file: hot.csv}
          - {name: second, file: cooled.csv, since: first, changed: oil cooler fitted}
"""
    sheet = sheet_of(tmp_path, {**V8, "dyno": dyno})
    assert sheet.session is not None
    assert [violation.pull for violation in sheet.session.earlier_violations] == ["first"]
    assert not [caution for caution in sheet.cautions if caution.name == "oil_temperature"]
    named = dyno.replace("readings: observed", "readings: observed\n        delivered: first")
    first = sheet_of(tmp_path, {**V8, "dyno": named})
    assert [caution.name for caution in first.cautions if caution.name == "oil_temperature"] == ["oil_temperature"]
