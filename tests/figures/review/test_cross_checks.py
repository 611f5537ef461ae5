"""Cross-checks: each reports values that cannot all be true, with file and line, and leaves a sound record alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.core.types import Contradiction
from builder.figures.export import figures_as_json
from builder.figures.review.cross_checks.operand import Operand, Source, combine
from tests.support.figure_records import BOTTOM_END, BUILD, CAM, TOP_END, V8, line_of, sheet_of

DECK = "    deck_clearance: {unit: in, measured: %s}\n"
FITS = "fits: {%s}\n"
SOUND = {
    "bottom_end": BOTTOM_END.replace(
        "bearings:", "deck_clearance: {unit: in, measured: 0.025}\n    bearings:"
    ).replace("type: forged", "type: forged\n      mass: 500 g\n      pin_mass: 120 g\n      ring_mass: 50 g"),
    "top_end": TOP_END,
    "cam": CAM,
    "work": "operations:\n  - {what: bored, on: block, when: 2024-03-02, before: 4.0000 in, after: 4.0305 in}\n",
    "parts": "parts:\n  - {part: pistons, number: LM 1, received: 2024-02-01}\n",
    "dyno": "date: 2024-05-01\n",
}  # fmt: skip


def contradictions(archive: Path, documents: dict[str, str]) -> list[Contradiction]:
    return list(sheet_of(archive, {**V8, **documents}).contradictions)


def found_by(archive: Path, check: str, documents: dict[str, str]) -> list[Contradiction]:
    return [found for found in contradictions(archive, documents) if found.check == check]


def test_a_sound_record_has_no_contradiction(tmp_path: Path) -> None:
    assert contradictions(tmp_path, SOUND) == []


def test_every_value_comes_with_its_file_and_line(tmp_path: Path) -> None:
    wrong = SOUND["bottom_end"].replace("measured: 0.025", "measured: 0.0520")
    (found,) = found_by(tmp_path, "deck_clearance", {"bottom_end": wrong})
    assert {value.path for value in found.values} == {
        "bottom_end.deck_clearance.measured.0",
        "bottom_end.block.deck_height",
        "bottom_end.crankshaft.stroke",
        "bottom_end.rods.length",
        "bottom_end.pistons.compression_height",
    }
    for value in found.values:
        path, line = value.where
        assert path.name == "bottom_end.yaml"
        name = value.path.removeprefix("bottom_end.").replace(".measured.0", "").rpartition(".")[2]
        assert line == line_of(tmp_path, f"{name}:", "bottom_end")
        assert f"({path.name}:{line}" in found.problem.message
    assert found.problem.severity == "warning"
    assert set(found.problem.fields) == {value.path for value in found.values}
    assert found.consequence is not None
    (exported,) = figures_as_json("test-engine", sheet_of(tmp_path, {**V8, "bottom_end": wrong}))["contradictions"]
    assert {value["field"] for value in exported["values"]} == {value.path for value in found.values}
    assert all((value["file"], value["line"] > 0) == ("bottom_end.yaml", True) for value in exported["values"])


@pytest.mark.parametrize(
    ("check", "document", "old", "new", "field"),
    [
        ("deck_clearance", "bottom_end", "measured: 0.025}", "measured: -0.025}", "bottom_end.deck_clearance"),
        ("oversize", "bottom_end", "bores:", "standard_bore: 4.000 in\n      oversize: 0.060 in\n      bores:",
         "bottom_end.block.oversize"),
        ("oversize", "bottom_end", "bores:", "standard_bore: 4.040 in\n      bores:", "bottom_end.block.standard_bore"),
        ("shells", "bottom_end", "main_shell: 0.0950", "main_shell: 0.0590", "bottom_end.bearings.main_shell"),
        ("masses", "bottom_end", "pin_mass: 120 g", "pin_mass: 12.0 g", "bottom_end.pistons.pin_mass"),
        ("pistons_in_bores", "bottom_end", "type: forged", "type: forged\n      diameter: 4.0625 in",
         "bottom_end.pistons.diameter"),
        ("gasket_bore", "top_end", "bore: 4.100 in", "bore: 4.010 in", "top_end.gasket.bore"),
        ("valves_in_bore", "top_end", "diameter: 1.940 in", "diameter: 2.940 in", "top_end.heads.intake_valve"),
        ("lobe_separation", "cam", "lobe_separation: 110", "lobe_separation: 101", "cam.card.lobe_separation"),
        ("durations", "cam", "durations: [{at: 0.050 in, duration: 230 deg}]",
         "durations: [{at: 0.050 in, duration: 230 deg}, {at: 0.200 in, duration: 241 deg}]",
         "cam.card.intake.durations.1.duration"),
        ("operations", "work", "after: 4.0305 in", "after: 4.0350 in", "work.operations.0.after"),
        ("dates", "dyno", "2024-05-01", "2024-01-05", "dyno.date"),
    ],
)  # fmt: skip
def test_one_wrong_value(tmp_path: Path, check: str, document: str, old: str, new: str, field: str) -> None:
    assert SOUND[document].count(old) >= 1
    assert found_by(tmp_path / "sound", check, SOUND) == []
    found = found_by(tmp_path / "wrong", check, {**SOUND, document: SOUND[document].replace(old, new, 1)})
    assert any(value.path.startswith(field) for item in found for value in item.values)


ENGINE_SYSTEMS = {
    "top_end": f"""{TOP_END.rstrip()}
    induction:
      rated_flow: 800 cfm
      manifold: {{kind: individual runners}}
      carburetor: {{count: 4, barrels: 2, rated_flow: 200 cfm, bore: 1.6875 in, venturi: 1.375 in}}
    plugs: {{gap: 0.035 in}}
    exhaust: {{primary_diameter: 1.625 in, collector_diameter: 2.5 in}}
""",
    "bottom_end": f"{BOTTOM_END.rstrip()}\n    oil_system: {{pan_capacity: 4.2 L}}\n",
    "delivery": "settings: {plug_gap: 0.035 in}\nfluids:\n  - {what: engine oil, amount: 4.7 L}\n",
    "cam": f"{CAM.rstrip()}\n    installed: {{intake_centerline: 102 deg}}\n    drive: {{offset: 4 deg}}\n",
    "work": "surface_finish:\n  bores: {ra: 15 uin, rz: 110 uin}\n  decks: {ra: 1.2 um, rz: 6.5 um}\n",
}


@pytest.mark.parametrize(
    ("check", "document", "old", "new", "field"),
    [
        ("rated_flow", "top_end", "flow: 800 cfm", "flow: 600 cfm", "top_end.induction.rated_flow"),
        ("rated_flow", "top_end", "rated_flow: 200 cfm", "rated_flow: 20.0 cfm",
         "top_end.induction.carburetor.rated_flow"),
        ("venturi", "top_end", "venturi: 1.375", "venturi: 1.735", "top_end.induction.carburetor.venturi"),
        ("individual_runners", "top_end", "count: 4", "count: 2", "top_end.induction.carburetor.count"),
        ("plug_gap", "top_end", "gap: 0.035", "gap: 0.053", "top_end.plugs.gap"),
        ("plug_gap", "delivery", "plug_gap: 0.035 in", "plug_gap: 0.030 in", "delivery.settings.plug_gap"),
        ("collector", "top_end", "primary_diameter: 1.625", "primary_diameter: 2.615", "top_end.exhaust.primary"),
        ("oil_fill", "delivery", "amount: 4.7 L", "amount: 4.7 pt", "delivery.fluids.0.amount"),
        ("oil_fill", "bottom_end", "pan_capacity: 4.2 L", "pan_capacity: 42 L", "bottom_end.oil_system.pan_capacity"),
        ("drive_offset", "cam", "offset: 4 deg", "offset: -4 deg", "cam.drive.offset"),
        ("surface_finish", "work", "ra: 15 uin, rz: 110 uin", "ra: 110 uin, rz: 15 uin", "work.surface_finish.bores"),
        ("surface_finish", "work", "rz: 6.5 um", "rz: 6.5 uin", "work.surface_finish.decks.rz"),
    ],
)  # fmt: skip
def test_one_wrong_value_of_the_engine_s_systems(
    tmp_path: Path, check: str, document: str, old: str, new: str, field: str
) -> None:
    assert ENGINE_SYSTEMS[document].count(old) == 1
    assert contradictions(tmp_path / "sound", ENGINE_SYSTEMS) == []
    wrong = {**ENGINE_SYSTEMS, document: ENGINE_SYSTEMS[document].replace(old, new)}
    found = found_by(tmp_path / "wrong", check, wrong)
    assert any(value.path.startswith(field) for item in found for value in item.values)


def test_the_height_of_a_profile_is_at_least_twice_its_mean_roughness() -> None:
    """Rz against Ra on profiles of many shapes, by the definitions of ISO 21920-2 (from memory)."""
    rng = np.random.default_rng(21920)
    profiles = [rng.normal(size=500) ** power for power in (1, 3)]
    profiles += [np.where(np.arange(500) < share * 500, 1.0, 0.0) for share in (0.01, 0.3, 0.5)]
    for profile in profiles:
        heights = profile - profile.mean()
        assert np.ptp(heights) >= 2 * np.abs(heights).mean() - 1e-12


@pytest.mark.parametrize(("given", "agrees"), [("5.82 L", True), ("355 cu in", True), ("5.28 L", False)])
def test_displacement_given_and_computed(tmp_path: Path, given: str, agrees: bool) -> None:
    build = BUILD.replace("cylinders: 8", f"cylinders: 8\n      displacement: {given}")
    found = found_by(tmp_path, "displacement", {"build": build})
    assert (found == []) == agrees


@pytest.mark.parametrize(
    ("measured", "agrees"), [("0.0027", True), ("0.0030", True), ("0.0035", False), ("0.0072", False)]
)
def test_oil_clearance_within_what_gauges_differ_by(tmp_path: Path, measured: str, agrees: bool) -> None:
    """Housing 2.6410 less two shells of 0.0950 less journal 2.4483 is 0.0027 in."""
    assembly = FITS % f"main_oil_clearance: {{unit: in, measured: [{', '.join([measured] * 5)}]}}"
    assert (found_by(tmp_path, "main_oil_clearance", {"assembly": assembly}) == []) == agrees


def test_a_coarser_gauge_allows_more(tmp_path: Path) -> None:
    for resolution, agrees in (("0.0001", False), ("0.002", True)):
        reading = f"{{unit: in, measured: [{', '.join(['0.0035'] * 5)}], resolution: {resolution}}}"
        found = found_by(
            tmp_path / resolution, "main_oil_clearance", {"assembly": FITS % f"main_oil_clearance: {reading}"}
        )
        assert (found == []) == agrees


def test_the_worst_position_is_shown_and_the_others_are_named(tmp_path: Path) -> None:
    measured = "[0.0027, 0.0072, 0.0027, 0.0037, 0.0027]"
    assembly = FITS % f"main_oil_clearance: {{unit: in, measured: {measured}}}"
    (found,) = found_by(tmp_path, "main_oil_clearance", {"assembly": assembly})
    assert (found.axis, found.worst, found.positions) == ("main", "2", ("2", "4"))
    assert any(value.path == "assembly.fits.main_oil_clearance.measured.1" for value in found.values)
    assert not any(value.path.endswith("measured.3") for value in found.values)


@pytest.mark.parametrize(
    ("wrong", "meant"),
    [("measured: 0.052", "0.025 in meant?"), ("measured: 0.250", "0.0250 in meant?"),
     ("measured: -0.025", "0.025 in meant?"), ("measured: 0.100", "")],
)  # fmt: skip
def test_what_was_probably_meant(tmp_path: Path, wrong: str, meant: str) -> None:
    bottom_end = SOUND["bottom_end"].replace("measured: 0.025", wrong)
    found = found_by(tmp_path, "deck_clearance", {"bottom_end": bottom_end})[0]
    texts = {found.meant_for(value).replace("\N{NO-BREAK SPACE}", " ") for value in found.values}
    assert meant in texts
    assert meant or texts == {""}


PISTONS = [4.0265, 4.0268, 4.0264, 4.0266, 4.0263, 4.0267, 4.0266, 4.0262]
BORES = [4.0305, 4.0304, 4.0306, 4.0305, 4.0303, 4.0305, 4.0306, 4.0304]


@pytest.mark.parametrize(("one", "other"), [(1, 6), (1, 2), (1, 7)])
def test_two_cylinders_swapped_inside_the_tolerance(tmp_path: Path, one: int, other: int) -> None:
    """Differences of a few ten-thousandths are within the tolerance, but vanish in the right order."""
    clearance = [f"{bore - piston:.4f}" for bore, piston in zip(BORES, PISTONS, strict=True)]
    bottom_end = BOTTOM_END.replace("type: forged", f"type: forged\n      diameter: {{unit: in, measured: {PISTONS}}}")
    right = {"bottom_end": bottom_end, "assembly": FITS % f"piston_clearance: {{unit: in, measured: {clearance}}}"}
    assert found_by(tmp_path / "right", "piston_clearance", right) == []
    clearance[one], clearance[other] = clearance[other], clearance[one]
    swapped = {**right, "assembly": FITS % f"piston_clearance: {{unit: in, measured: {clearance}}}"}
    (found,) = found_by(tmp_path / "swapped", "piston_clearance", swapped)
    assert found.positions == (str(one + 1), str(other + 1))
    assert f"cylinder {one + 1} and {other + 1} swapped" in found.sentence


def test_the_value_that_most_checks_name_is_suspected(tmp_path: Path) -> None:
    bores = SOUND["bottom_end"].replace("4.0306, 4.0305, 4.0303", "4.0360, 4.0305, 4.0303")
    gauging = (
        "bore_gauging: {unit: in, cylinders: [{cylinder: 3, depths: [{across: 4.0306, along: 4.0305}]}]}\n"
    )  # fmt: skip
    clearance = FITS % f"piston_clearance: {{unit: in, measured: [{', '.join(['0.0040'] * 8)}]}}"
    pistons = bores.replace("type: forged", "type: forged\n      diameter: 4.0265 in")
    found = contradictions(tmp_path, {"bottom_end": pistons, "work": gauging, "assembly": clearance})
    suspects = {item.suspect.path for item in found if item.suspect is not None}
    assert suspects == {"bottom_end.block.bores.measured.2"}


@pytest.mark.parametrize(
    ("number", "verdict", "agrees"),
    [
        ("LM 4030-F", "fits", True),
        ("LM4030F", "fits", True),
        ("LM 4040-F", "fits", False),
        ("LM 4040-F", "returned", True),
    ],
)
def test_part_numbers_in_two_files(tmp_path: Path, number: str, verdict: str, agrees: bool) -> None:
    pistons = BOTTOM_END.replace("type: forged", "type: forged\n      number: LM 4030-F")
    parts = f"parts:\n  - {{part: pistons, number: {number}, verdict: {verdict}}}\n"
    assert (found_by(tmp_path, "part_numbers", {"bottom_end": pistons, "parts": parts}) == []) == agrees


@pytest.mark.parametrize(
    ("part", "agrees"), [("spark plugs", False), ("spark plugs, set", False), ("plug leads", True)]
)
def test_what_belongs_to_a_part_has_a_number_of_its_own(tmp_path: Path, part: str, agrees: bool) -> None:
    documents = {
        "top_end": f"{TOP_END.rstrip()}\n    plugs: {{number: CF P7}}\n",
        "parts": f"parts: [{{part: '{part}', number: CF P9}}]\n",
    }
    assert (found_by(tmp_path, "part_numbers", documents) == []) == agrees


@pytest.mark.parametrize(("closes", "agrees"), [("43 deg", True), ("34 deg", False)])
def test_degree_wheel_against_events(tmp_path: Path, closes: str, agrees: bool) -> None:
    """72 and 136 put the centerline at 104; 15 before TDC and 43 after BDC put it there too."""
    degreeing = (
        "degreeing:\n  intake: [{lift: 0.300 in, opening: 72 deg, closing: 136 deg}]\n"
        f"  events: [{{at: 0.050 in, intake_opens: 15 deg, intake_closes: {closes}}}]\n"
    )
    assert (found_by(tmp_path, "degree_wheel", {"cam": degreeing}) == []) == agrees


PULLS = """
date: 2024-05-01
pulls:
  - {name: a, changed: main jets 125 to 130}
  - {name: b, setting: {name: total spark advance, level: 33 deg}}
  - {name: c, changed: timing back to 30 deg, since: a}
  - {name: d, repeat_of: c}
"""


@pytest.mark.parametrize(
    ("settings", "count"),
    [
        ("total_timing: 30 deg, jets: 130 main", 0),
        ("total_timing: 33 deg, jets: 130 main", 1),
        ("total_timing: 33 deg, jets: 125 main", 2),
    ],
)
def test_settings_at_delivery_and_of_the_last_pull(tmp_path: Path, settings: str, count: int) -> None:
    found = found_by(tmp_path, "settings", {"dyno": PULLS, "delivery": f"settings: {{{settings}}}\n"})
    assert len(found) == count


def test_a_pull_before_a_part_came(tmp_path: Path) -> None:
    parts = "parts:\n  - {part: camshaft, received: 2024-05-09, verdict: fits}\n"
    (found,) = found_by(tmp_path, "dates", {"parts": parts, "dyno": "date: 2024-05-01\n"})
    assert {value.path for value in found.values} == {"dyno.date", "parts.parts.0.received"}
    returned = parts.replace("fits", "returned")
    assert found_by(tmp_path / "returned", "dates", {"parts": returned, "dyno": "date: 2024-05-01\n"}) == []


SPRINGS = """
    springs:
      installed_height: 1.800 in
      solid_height: 1.100 in
      seat_load: %s
      rate: %s
      tested: [{height: 1.800 in, load: 125 lbf}, {height: 1.300 in, load: 300 lbf}]
"""


@pytest.mark.parametrize(
    ("seat", "rate", "count"),
    [("125 lbf", "350 lbf/in", 0), ("152 lbf", "350 lbf/in", 1), ("125 lbf", "305 lbf/in", 1)],
)
def test_spring_loads_against_rate(tmp_path: Path, seat: str, rate: str, count: int) -> None:
    top_end = TOP_END + SPRINGS % (seat, rate)
    assert len(found_by(tmp_path, "spring_loads", {"top_end": top_end})) == count


@pytest.mark.parametrize(("diameter", "agrees"), [("34 mm", True), ("20 mm", False)])
def test_power_against_the_air_through_a_restrictor(tmp_path: Path, diameter: str, agrees: bool) -> None:
    """130 kW need some 0.096 kg/s of air at 45 %; 20 mm pass 0.075 kg/s at most, which is 104 kW."""
    pull = tmp_path / "builds" / "test-engine" / "dyno"
    pull.mkdir(parents=True)
    rows = "\n".join(f"{speed},{1.241e6 / speed:.1f}" for speed in range(3000, 6001, 100))
    (pull / "a.csv").write_text(f"Engine speed [rpm],Torque [N m]\n{rows}\n", encoding="utf-8")
    top_end = TOP_END + f"    induction: {{restrictor_diameter: {diameter}}}\n"
    found = found_by(tmp_path, "power_and_air", {"top_end": top_end, "dyno": "pulls: [{name: a, file: dyno/a.csv}]\n"})
    assert (found == []) == agrees
    assert agrees or "top_end.induction.restrictor_diameter" in {value.path for value in found[0].values}


def operand(path: str, values: list[float], step: float) -> Operand:
    return Operand(np.array(values), {path: np.full(len(values), step)}, (Source(path, ()),), str)


def test_uncertainties_add_as_squares_and_one_source_with_its_sign() -> None:
    first, second = operand("a", [3.0], 0.3), operand("b", [4.0], 0.4)
    assert float((first + second).standard_uncertainty[0]) == pytest.approx(0.5)
    assert float((first - first).standard_uncertainty[0]) == pytest.approx(0.0, abs=1e-9)
    assert float((first * second).standard_uncertainty[0]) == pytest.approx(np.hypot(4 * 0.3, 3 * 0.4), rel=1e-5)
    assert float((first / second).standard_uncertainty[0]) == pytest.approx(np.hypot(0.3 / 4, 0.4 * 3 / 16), rel=1e-5)


def test_operands_of_other_places_count_by_their_mean() -> None:
    four, two = operand("a", [1.0, 2.0, 3.0, 4.0], 0.0), operand("b", [10.0, 20.0], 0.0)
    difference = two - four
    assert difference.values == pytest.approx([14.0, 13.0, 12.0, 11.0])
    assert difference.standard_uncertainty == pytest.approx([5 / np.sqrt(3)] * 4)  # half the range of the two
    assert combine(lambda a: a**2, four).values == pytest.approx([1.0, 4.0, 9.0, 16.0])


@pytest.mark.parametrize(
    ("noted", "field"),
    [
        # 342 hp and 371 lb-ft: hp = lb-ft x rpm / 5252, common practice, no source
        ("{power: 342 hp, power_at: 5400 rpm, torque: 371 lb-ft, torque_at: 4100 rpm}", ""),
        ("{power: 342 hp, power_at: 4500 rpm, torque: 371 lb-ft, torque_at: 4100 rpm}", "dyno.noted_result.power_at"),
        ("{power: 242 hp, power_at: 5400 rpm, torque: 371 lb-ft, torque_at: 4100 rpm}", "dyno.noted_result.power"),
    ],
)
def test_noted_peaks_agree_with_each_other(tmp_path: Path, noted: str, field: str) -> None:
    contradictions = found_by(tmp_path, "noted_result", {"dyno": f"noted_result: {noted}\n"})
    fields = {value.path for found in contradictions for value in found.values}
    assert (field in fields) if field else not contradictions
