"""Fits, fasteners, parts, the degree wheel and gathered cautions, each as the page of a build shows it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from builder.archive.build_summary import summarize_build
from builder.figures.evaluate import compute
from builder.publish.pages.archive.sparkline import sparkline
from builder.publish.pages.build.cautions_section import caution_lines
from builder.publish.pages.build.charts import charts_for
from builder.publish.pages.build.clearances_section import clearance_rows
from builder.publish.pages.build.context import render_build_page
from builder.publish.pages.build.fasteners_section import fasteners_table, stretch_tables
from builder.publish.pages.build.gauging_tables import bore_table, degreeing_tables
from builder.publish.pages.build.headline import facts
from builder.publish.pages.build.parts_section import part_rows
from builder.publish.pages.templating import page_environment
from builder.publish.social_card import render_card
from builder.record.models.shop import Shop
from tests.support import view_samples as samples

BUILD = "title: T\nengine: {cylinders: 4}\n"


# -------------------------------------------------------------------------------------------- fits


def test_a_fit_shows_its_range_its_readings_and_its_verdict(tmp_path: Path) -> None:
    _build, sheet = samples.write_and_read(
        tmp_path,
        build=BUILD,
        assembly="fits:\n  piston_clearance: {unit: mm, allowed: 0.040..0.060, rule: sheet, by: IV,\n"
        "    measured: [0.045, 0.050, 0.055, 0.071]}\n",
    )
    (row,) = clearance_rows(sheet.clearances, "fit")
    assert (row.allowed, row.authority) == ("0.040 to 0.060\N{NO-BREAK SPACE}mm", "sheet")
    assert [text.split("\N{NO-BREAK SPACE}")[0] for text in (row.minimum, row.maximum)] == ["0.045", "0.071"]
    assert row.out_of_range
    assert row.verdict == "out of range at cylinder 4"
    assert row.remarks == ("by IV",)
    # The mean of the four is 0.05525: 76 % of the way through the range.
    assert row.place_text == "76 %"
    assert row.gauge_svg.count("<path") == 4


def test_what_was_accepted_says_by_whom_and_why() -> None:
    _build, sheet = samples.build_and_sheet("offshore-v8")
    rows = clearance_rows(sheet.clearances, "fit", "bore", "joint")
    out = [row for row in rows if row.out_of_range]
    assert out
    for row in out:
        assert row.verdict.startswith("out of range")
        assert row.verdict.endswith(", accepted")
        assert any(remark.startswith("accepted by ") and ": " in remark for remark in row.remarks)


def test_a_range_with_one_end_has_no_place_in_it() -> None:
    _build, sheet = samples.build_and_sheet("pilot-launch-four")
    row = next(r for r in clearance_rows(sheet.clearances, "fit") if r.title == "Top ring gap")
    assert (row.gauge_svg, row.place_text) == ("", "")


@pytest.mark.parametrize("slug", samples.slugs())
def test_every_fit_with_several_readings_is_drawn_against_its_range(slug: str) -> None:
    build, sheet = samples.build_and_sheet(slug)
    several = [fit for fit in sheet.clearances if len(fit.readings) > 1]
    placed = charts_for(build, sheet, samples.shop())
    strips = [item for item in placed if item.section == "readings"]
    assert len(strips) == len(several)
    for fit, item in zip(several, strips, strict=True):
        assert fit.title in item.caption
        assert ("allowed" in item.caption) == bool(fit.allowed)
    names = [item.request.name for item in placed]
    assert len(names) == len(set(names))


# --------------------------------------------------------------------------------------- fasteners


def test_a_torque_stands_in_both_systems_as_written_in_its_own() -> None:
    """Checked against NIST SP 811: 1 lbf ft is 1.355 818 N m."""
    build, sheet = samples.build_and_sheet("pilot-launch-four")
    table = fasteners_table(build, sheet)
    assert table is not None
    metric, inch = table.head.index("N m"), table.head.index("lbf ft")
    for row, joint in zip(table.rows, build.assembly.fasteners, strict=True):  # type: ignore[union-attr]
        written = joint.torque.preferred[0]  # type: ignore[union-attr]
        assert row[metric].text == written.number
        assert float(row[inch].text) == pytest.approx(written.si / 1.355818, abs=0.06)


def test_two_joints_of_one_name_are_told_apart_and_empty_columns_left_out(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(
        tmp_path,
        build=BUILD,
        assembly="fasteners:\n  - {joint: caps, torque: 90 lbf.ft}\n"
        "  - {joint: caps, torque: 40 lbf.ft, angle: 60 deg}\n",
    )
    table = fasteners_table(build, sheet)
    assert table is not None
    assert table.head == ("Joint", "N m", "lbf ft", "Then")
    assert [[cell.text for cell in row] for row in table.rows] == [
        ["Caps", "122", "90", ""],
        ["Caps (2)", "54", "40", "then 60°"],
    ]


def test_a_joint_shows_what_its_friction_and_its_stretch_come_to(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(
        tmp_path,
        build=BUILD,
        assembly="fasteners:\n  - {joint: caps, size: M11x1.5, torque: 85 N.m, friction: 0.12}\n"
        "  - {joint: rod bolts, size: M9x1, stretch: 0.15 mm, shank_length: 36 mm, shank_diameter: 8.2 mm}\n",
    )
    table = fasteners_table(build, sheet)
    assert table is not None
    caps, rods = (" ".join(f"{cell.text} {cell.alternate_unit or ''}" for cell in row) for row in table.rows)
    assert "friction 0.12" in caps
    assert "clamping force by it" not in caps
    # E A / l times the stretch: 207 GPa over 36 mm of 8.2 mm shank.
    assert "stretch 0.15\N{NO-BREAK SPACE}mm; clamping force by it 46" in rods


def test_the_stretch_of_every_bolt_is_there() -> None:
    build, _ = samples.build_and_sheet("breakdown-truck-v8")
    (table,) = stretch_tables(build)
    joint = next(joint for joint in build.assembly.fasteners if joint.stretch)  # type: ignore[union-attr]
    assert [cell.text.split("\N{NO-BREAK SPACE}")[0] for cell in table.rows[0][1:]] == [
        bolt.number
        for bolt in joint.stretch.measured  # type: ignore[union-attr]
    ]


def test_fasteners_of_a_build_without_any_are_no_table(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(tmp_path, build=BUILD)
    assert fasteners_table(build, sheet) is None
    assert stretch_tables(build) == ()
    assert degreeing_tables(build) == ()
    assert bore_table(build) is None
    assert part_rows(build) == ()
    assert caution_lines(build, sheet) == ()


# ------------------------------------------------------------------------------- degree wheel, bores


def test_the_centreline_lies_in_the_middle_of_its_two_readings() -> None:
    """Common practice, no source: equal lift either side of the nose; (71 + 141) / 2 is 106."""
    build, _ = samples.build_and_sheet("pilot-launch-four")
    peaks, events = degreeing_tables(build)
    assert [cell.text for cell in peaks.rows[0]] == [
        "Intake",
        "5.00\N{NO-BREAK SPACE}mm",
        "71.0°",
        "141.0°",
        "106°",
        "107°",
        "−1°",
    ]
    assert [row[4].text for row in peaks.rows] == ["106°", "105.75°", "112.25°"]
    assert [row[0].text for row in events.rows] == ["seat", "1 mm"]


def test_bores_keep_the_last_digit_of_the_gauge() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    table = bore_table(build)
    assert table is not None
    assert table.head[:3] == ("Cylinder", "top, across", "top, along")
    assert {len(cell.text.partition(".")[2]) for row in table.rows for cell in row[1:]} == {3}
    assert any(cell.text.endswith("0") for row in table.rows for cell in row[1:])


# ------------------------------------------------------------------------------------------- parts


def test_a_used_part_that_nobody_checked_stands_out_and_a_returned_one_is_marked() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    rows = {row.title: row for row in part_rows(build)}
    assert rows["Raw-water pump"].unchecked
    assert rows["Raw-water pump"].verdict == "never checked"
    assert [title for title, row in rows.items() if row.rejected] == ["Pistons, first set"]
    assert sum(row.unchecked for row in rows.values()) == 1
    (height,) = [check for check in rows["Pistons, first set"].checks if check.startswith("compression height")]
    assert "36.60, 36.57, 36.59, 36.56\N{NO-BREAK SPACE}mm" in height
    assert "listed 38.10\N{NO-BREAK SPACE}mm" in height


# ---------------------------------------------------------------------------------------- cautions


def test_the_same_breach_over_several_pulls_is_one_line_with_the_worst() -> None:
    build, _ = samples.build_and_sheet("generator-gas-six")
    rich = {"mixture": [{"fuel": "LPG", "least_lambda": 0.80, "most_lambda": 0.95}]}
    sheet = compute(build, Shop.model_validate({"guidelines": rich}))
    looks = [look for look in caution_lines(build, sheet) if "ambda" in look.sentence]
    (look,) = looks
    assert "on 2 pulls (mixer leaned, timing 28); worst on timing 28" in look.sentence
    assert look.href == "#what-it-made"


@pytest.mark.parametrize("slug", samples.slugs())
def test_no_caution_is_lost_and_each_is_a_sentence(slug: str) -> None:
    build, sheet = samples.build_and_sheet(slug)
    looks = caution_lines(build, sheet)
    said = " ".join(look.sentence for look in looks)
    for caution in sheet.cautions:
        if caution.subject.startswith("dyno.pulls.") and sheet.session is not None:
            pull = build.pulls[int(caution.subject.split(".")[2])].name
            assert pull.casefold() in said.casefold()
        elif caution.subject.startswith("parts.parts."):
            assert build.parts is not None
            assert build.parts.parts[int(caution.subject.split(".")[2])].part in said
        else:
            assert caution.sentence[1:] in said
    assert all(look.sentence.endswith((".", "!", "?")) for look in looks)
    assert len(looks) == len(set(looks))


# ------------------------------------------------------------------------------- cards and sketches


@pytest.mark.parametrize("slug", ["pilot-launch-four", "irrigation-single"])
def test_the_card_is_a_small_picture_and_the_same_each_time(slug: str) -> None:
    build, sheet = samples.build_and_sheet(slug)
    card = render_card(build, sheet)
    with Image.open(io.BytesIO(card)) as picture:
        assert picture.size == (1200, 630)
        assert picture.format == "PNG"
    assert len(card) < 60_000
    assert card == render_card(build, sheet)


def test_without_a_curve_the_card_shows_the_cover() -> None:
    build, sheet = samples.build_and_sheet("irrigation-single")
    cover = io.BytesIO()
    Image.new("RGB", (640, 480), (200, 30, 30)).save(cover, "JPEG")
    with Image.open(io.BytesIO(render_card(build, sheet, cover.getvalue()))) as picture:
        red, green, _ = picture.convert("RGB").getpixel((1000, 400))  # type: ignore[misc]
    assert red > 150
    assert green < 80


def test_a_long_title_stays_on_the_card(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(
        tmp_path, build=f"title: {'W' * 300} {'longer ' * 10}\nengine: {{cylinders: 4}}\n"
    )
    with Image.open(io.BytesIO(render_card(build, sheet))) as picture:
        right = picture.convert("L").crop((1150, 60, 1200, 630))
    assert right.getextrema()[0] > 200


def test_the_sketch_follows_the_curve_and_is_nothing_without_one() -> None:
    build, sheet = samples.build_and_sheet("pilot-launch-four")
    drawn = sparkline(summarize_build(build, sheet))
    assert drawn.count("mb-strip-peak") == 2
    assert "style=" not in drawn
    assert sparkline(summarize_build(*samples.build_and_sheet("irrigation-single"))) == ""


# ---------------------------------------------------------------------------------------- the whole page


def render(archive: Path | None) -> str:
    build, sheet = samples.build_and_sheet("irrigation-single")
    return render_build_page(
        build, sheet, samples.shop(), page_environment(archive), charts=(), photos=(), data_files=(), readiness=None
    )


def test_a_shop_replaces_one_section_of_the_page(tmp_path: Path) -> None:
    own = tmp_path / "site_templates" / "pages" / "build" / "facts.md.j2"
    own.parent.mkdir(parents=True)
    own.write_text("<p>{{ facts | length }} facts</p>\n")
    build, _sheet = samples.build_and_sheet("irrigation-single")
    before, _, rest = render(None).partition('<ul class="mb-facts">')
    _, _, after = rest.partition("</ul>\n")
    assert render(tmp_path) == f"{before}<p>{len(facts(build))} facts</p>\n{after}"
