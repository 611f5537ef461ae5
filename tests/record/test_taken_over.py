"""What is written in one place is taken from there; a text given in two places differently is reported with both."""

from __future__ import annotations

import pytest

from builder.figures.evaluate import compute
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.redaction import without_private
from tests.support.record_samples import ReadWith

CARD = """\
bore_gauging:
  unit: in
  resolution: 0.0001 in
  by: RT
  cylinders:
    - {cylinder: 2, depths: [{across: 4.0306, along: 4.0304}, {across: 4.0306, along: 4.0304}]}
    - {cylinder: 1, depths: [{across: 4.0301, along: 4.0301}, {across: 4.0303, along: 4.0303}]}
    - {cylinder: 3, depths: [{across: 4.0300, along: 4.0300}, {across: 4.0300, along: 4.0300}]}
    - {cylinder: 4, depths: [{across: 4.0308, along: 4.0308}, {across: 4.0308, along: 4.0308}]}
"""
PARTS = """\
parts:
  - {part: head gasket, maker: Sallow & Reed, number: SR 410}
  - {part: camshaft, maker: Heron Camshafts, number: HC 1}
  - {part: pistons, maker: Larkmoor, number: LM 1, verdict: returned}
  - {part: pistons, maker: Larkmoor, number: LM 2}
  - {part: block, serial: K16-1}
"""


def _read(read: ReadWith, **documents: str) -> Build:
    build, problems = read(**documents)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    return build


def test_bores_from_the_gauge_card(read: ReadWith) -> None:
    build = _read(read, work=CARD, bottom_end="crankshaft: {stroke: 3.48 in}\n")
    bores = build.get("bottom_end.block.bores")
    assert [quantity.text for quantity in bores.measured] == ["4.0302 in", "4.0305 in", "4.0300 in", "4.0308 in"]
    assert bores.by == "RT"
    assert build.where("bottom_end.block.bores") == build.where("work.bore_gauging.cylinders")
    assert build.where("bottom_end.block.bores")[0].name == "work.yaml"
    volume = compute(build, Shop()).value("displacement")
    assert volume == pytest.approx(
        sum(0.7854 * (b * 0.0254) ** 2 for b in (4.0302, 4.0305, 4.03, 4.0308)) * 0.088392, rel=1e-4
    )


def test_rated_flow_of_all_carburetors_from_that_of_one(read: ReadWith) -> None:
    build = _read(read, top_end="induction:\n  carburetor: {count: 3, rated_flow: 112.5 L/s}\n")
    assert build.get("top_end.induction.rated_flow").text == "337.5 L/s"
    assert build.where("top_end.induction.rated_flow")[1] == 2
    own = _read(read, top_end="induction: {rated_flow: 300 L/s, carburetor: {count: 3, rated_flow: 112.5 L/s}}\n")
    assert own.get("top_end.induction.rated_flow").text == "300 L/s"


def test_plugs_at_delivery_from_those_fitted(read: ReadWith) -> None:
    plugs = "plugs: {maker: Cinder Fuel, number: CF P7, gap: 0.035 in}\n"
    build = _read(read, top_end=plugs, delivery="settings: {idle_speed: 850 rpm}\n")
    settings = build.get("delivery.settings")
    assert (settings.plug, settings.plug_gap.text) == ("Cinder Fuel CF P7", "0.035 in")
    own = _read(read, top_end=plugs, delivery="settings: {plug: cold, plug_gap: 0.030 in}\n").get("delivery.settings")
    assert (own.plug, own.plug_gap.text) == ("cold", "0.030 in")
    assert (
        _read(read, top_end="plugs: 14 mm\n", delivery="settings: {idle_speed: 850 rpm}\n").get(
            "delivery.settings.plug"
        )
        == "14 mm"
    )


def test_bores_that_were_written_down_stay(read: ReadWith) -> None:
    build = _read(read, work=CARD, bottom_end="block: {bores: 4.031 in}\n")
    assert [quantity.text for quantity in build.get("bottom_end.block.bores").preferred] == ["4.031 in"]
    assert build.taken_from == {}


def test_a_card_without_every_cylinder_gives_no_bores(read: ReadWith) -> None:
    short = "".join(line for line in CARD.splitlines(keepends=True) if "cylinder: 3" not in line)
    assert _read(read, work=short).get("bottom_end.block.bores") is None


def test_numbers_from_the_parts_list(read: ReadWith) -> None:
    build = _read(read, parts=PARTS, top_end="gasket: {thickness: 0.039 in}\n")
    assert (build.get("top_end.gasket.maker"), build.get("top_end.gasket.number")) == ("Sallow & Reed", "SR 410")
    assert build.get("top_end.gasket.thickness") is not None
    assert build.get("cam.card.number") == "HC 1"
    assert build.get("bottom_end.pistons.number") == "LM 2"
    assert build.where("cam.card.number")[1] == 3
    assert build.build.engine_serial == "K16-1"


def test_two_parts_of_a_kind_give_no_number(read: ReadWith) -> None:
    assert _read(read, parts=PARTS + "  - {part: cam, number: HC 2}\n").get("cam.card") is None


def test_a_number_of_another_maker_is_not_mixed_in(read: ReadWith) -> None:
    build, problems = read(parts=PARTS, top_end="gasket: {maker: Oakhanger}\n")
    assert build is not None
    assert build.get("top_end.gasket.number") is None
    (problem,) = problems
    assert "gasket.maker is 'Oakhanger' here and 'Sallow & Reed' in parts.yaml:2" in problem.message


def test_texts_that_differ_are_reported_with_both_places(read: ReadWith) -> None:
    sheet = "title: Test engine\nstatus: finished\nengine: {cylinders: 4}\nengine_serial: K16-9\n"
    build, problems = read(parts=PARTS, build=sheet)
    assert build is not None
    assert build.build.engine_serial == "K16-9"
    (problem,) = problems
    assert (problem.path.name, problem.line, problem.severity) == ("build.yaml", 4, "warning")
    assert "'K16-9' here and 'K16-1' in parts.yaml:6" in problem.message


def test_a_part_number_that_differs_is_reported_once(read: ReadWith) -> None:
    build, problems = read(parts=PARTS, cam="card:\n  number: HC 9\n")
    assert problems == []
    assert build is not None
    found = [problem for problem in compute(build, Shop()).problems if "HC 9" in problem.message]
    assert len(found) == 1
    assert "HC 1" in found[0].message


def test_the_same_text_written_otherwise_is_no_difference(read: ReadWith) -> None:
    _read(read, parts=PARTS, cam="card: {number: hc1, maker: heron  camshafts}\n")


def _pulls(delivered: str) -> str:
    pulls = "pulls:\n" + "".join(
        f"  - {{name: {name}, file: dyno/pull-1.csv, setting: {{name: total spark advance, level: {level} deg}}}}\n"
        for name, level in (("a", 30), ("b", 34))
    )
    return f"{delivered}{pulls}"


def test_timing_as_delivered_from_the_pull_that_is_named(read: ReadWith) -> None:
    build = _read(read, dyno=_pulls("delivered: a\n"))
    assert build.get("delivery.settings.total_timing").text == "30 deg"
    assert build.where("delivery.settings.total_timing") == build.where("dyno.pulls.0.setting.level")
    assert _read(read, dyno=_pulls("")).get("delivery.settings.total_timing") is None
    stated = "delivered: a\npulls:\n  - {name: a, file: dyno/pull-1.csv, total_timing: 31 deg}\n"
    build = _read(read, dyno=stated)
    assert build.get("delivery.settings.total_timing").text == "31 deg"
    assert build.where("delivery.settings.total_timing") == build.where("dyno.pulls.0.total_timing")


def test_a_serial_number_stays_private(read: ReadWith) -> None:
    build = _read(read, parts=PARTS)
    assert without_private(build).build.engine_serial is None
    assert without_private(build, ["engine_serial"]).build.engine_serial == "K16-1"
