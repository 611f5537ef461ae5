"""The specification as the sheets print it."""

from __future__ import annotations

from pathlib import Path

from builder.figures.evaluate import compute
from builder.handover.binder_content import binder_of
from builder.publish.sheets.joints import joints
from builder.publish.sheets.specification import cam_rows, short_specification, specification
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from tests.support import view_samples as samples

TOP_END = """\
induction:
  description: four-barrel on a single plane
  manifold: {kind: open plenum, maker: Cinder Fuel, number: CF M2, rpm_range: 2500..6800 rpm, runner_area: 2.25 sq in,
             runner_length: 6.5 in}
  carburetor: {count: 2, barrels: 4, rated_flow: 450 cfm, venturi: 1.25 in, main_jet: 70, secondary_jet: 76}
ignition: {kind: points, description: sealed cap, coil: 3 ohm, rev_limiter: 6500 rpm}
plugs: {maker: Cinder Fuel, number: CF P7, gap: 0.035 in}
exhaust:
  kind: headers
  layout: 4-2-1
  primary_diameter: 1.625 in
  primary_length: 16 in
  secondary_diameter: 1.875 in
  collector_diameter: 2.5 in
  collector_length: 12 in
  muffler: one, straight through
"""
ASSEMBLY = """\
fasteners: [{joint: flywheel, torque: 60 lbf.ft, threadlocker: medium strength}]
seals: [{joint: rear main, kind: lip seal}, {joint: front cover, sealant: silicone}]
"""


def _build(archive: Path) -> Build:
    build, _ = samples.write_and_read(
        archive,
        build="title: T\nengine: {cylinders: 4}\n",
        top_end=TOP_END,
        bottom_end="oil_pump: {pump: gear pump, pan_capacity: 4.2 L, pickup_clearance: 0.375 in}\n",
        cam="drive: {kind: double-row chain, keyway: A4, offset: 4 deg}\n",
        assembly=ASSEMBLY,
        delivery="settings: {idle_speed: 850 rpm}\nfluids: [{what: engine oil, amount: 4.7 L}]\n",
    )
    return build


def _plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_manifold_carburetor_ignition_exhaust_and_oil_system_are_one_line_each(tmp_path: Path) -> None:
    build = _build(tmp_path)
    sheet = compute(build, Shop())
    rows = {row.title: _plain(row.text) for row in (*specification(build, sheet, False), *cam_rows(build, sheet))}
    assert rows["Intake manifold"] == ("open plenum, Cinder Fuel, CF M2, 2500 to 6800 rpm, runners 2.25 sq in × 6.5 in")
    assert rows["Carburetor"] == "qty 2, 4-barrel, 450 cfm each, venturi 1.25 in, jets 70 / 76"
    assert rows["Ignition"] == "points, sealed cap, 3 ohm"
    assert rows["Rev limiter"] == "6500 rpm"
    assert rows["Exhaust"] == (
        "headers, 4-2-1, primaries 1.625 in × 16 in, secondaries 1.875 in, collector 2.5 in × 12 in, "
        "one, straight through"
    )
    assert rows["Oil system"] == "pan holds 4.2 L, pickup 0.375 in off the floor, gear pump"
    assert rows["Drive"] == "double-row chain, keyway A4, offset 4°"
    short = {row.title: _plain(row.text) for row in short_specification(build, sheet, False)}
    assert short["Spark plug"] == "Cinder Fuel CF P7, 0.035 in gap"
    assert short["Exhaust"] == rows["Exhaust"]


def test_one_line_of_text_is_printed_as_it_is(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nengine: {cylinders: 4}\n",
        top_end="exhaust: four into one\nignition: magneto, fixed\n",
    )
    rows = {row.title: row.text for row in specification(build, compute(build, Shop()), False)}
    assert (rows["Exhaust"], rows["Ignition"]) == ("four into one", "magneto, fixed")
    assert "Rev limiter" not in rows


def test_the_binder_has_limiter_threadlocker_and_seals(tmp_path: Path) -> None:
    build = _build(tmp_path)
    binder = binder_of(build, compute(build, Shop()), Shop(), None)
    assert ("Rev limiter", "6500 rpm") in {(row.title, _plain(row.text)) for row in binder.operating.settings}
    assert binder.seals is not None
    assert binder.seals.header == ("Joint", "Kind", "Sealant")
    assert binder.seals.rows == (("rear main", "lip seal", ""), ("front cover", "", "silicone"))
    (flywheel,) = joints(build)
    assert flywheel.lubricant == "threadlocker medium strength"
    assert ("Threadlocker", "medium strength") in flywheel.rows


def test_a_cam_of_which_one_side_is_known_has_a_line(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nstatus: planned\nengine: {cylinders: 4}\n",
        cam="card: {intake: {lobe_lift: 6.0 mm}}\n",
        top_end="rockers: {ratio: 1.5}\n",
    )
    rows = {row.title: _plain(row.text) for row in short_specification(build, compute(build, Shop()), False)}
    assert "9.00 mm / – lift" in rows["Cam"]
