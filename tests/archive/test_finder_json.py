"""The finder's data file, and the browser's script against Python."""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from builder.archive.compare import ComparedRecord, compare, compare_records, compared_record
from builder.archive.engine_build import EngineBuild
from builder.archive.estimate import estimate
from builder.archive.fields import CHOICES, FIELDS, NUMBERS, System, weights_from
from builder.archive.finder_json import finder_data
from builder.archive.record_json import record_script
from builder.archive.search import find
from builder.archive.similarity import build_matrix, differences, distances, plan_from_values
from builder.archive.summary import NOTED_RESULT, CoarseCurve, PartSummary, Summary, newest_first
from builder.record.load import read_build
from builder.record.redaction import without_private
from tests.support import archive_samples as samples

BUILDS = Path(__file__).parents[2] / "builds"
ASSETS = Path(__file__).parents[2] / "site_templates" / "assets"
WEIGHTS, _ = weights_from(None)
HOSTILE = "</script><img src=x onerror=alert(1)>'\"\\ \u2028\u2029\ufeff\x00\n=1+1 `${1}` ]]> <!-- \ud800"

needs_node = pytest.mark.skipif(shutil.which("node") is None, reason="node is not installed")

Run = Callable[[str, str], Any]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run an expression of the script on a data file; ``a`` is the decoded archive."""

    def go(data: str, expression: str) -> Any:
        (tmp_path / "finder-data.js").write_text(data, encoding="utf-8")
        code = (
            f"require({json.dumps(str(tmp_path / 'finder-data.js'))});"
            f"const core = require({json.dumps(str(ASSETS / 'finder-core.js'))});"
            f"const similarity = require({json.dumps(str(ASSETS / 'finder-similarity.js'))});"
            "const a = core.decode(globalThis.millbookFinderData);"
            "const plain = (k, v) => v === Infinity ? 'inf' : ArrayBuffer.isView(v) ? Array.from(v) : v;"
            f"console.log(JSON.stringify({expression}, plain));"
        )
        (tmp_path / "run.js").write_text(code, encoding="utf-8")
        done = subprocess.run(["node", str(tmp_path / "run.js")], capture_output=True, check=False)
        assert done.returncode == 0, done.stderr.decode()
        return json.loads(done.stdout)

    return go


def plan_of(summary: Summary) -> dict[str, Any]:
    """A build as the page's script would hold it as a plan."""
    out: dict[str, Any] = {}
    for f in FIELDS:
        value = getattr(summary, f.slug)
        if value is not None:
            out[f.slug] = round(value * f.quantum) / f.quantum if f.kind == "number" else value
    return out


def test_the_file_is_small_and_deterministic() -> None:
    builds = samples.invented_archive(200, sparse=0.0)
    wordy = [replace(s, words=" ".join(f"word{i}of{s.slug}" for i in range(400))) for s in builds]
    text = finder_data(wordy, WEIGHTS, "inch")
    assert len(text.encode()) / 200 < 1200
    assert text == finder_data(tuple(reversed(wordy)), WEIGHTS, "inch")


def test_nothing_in_it_can_end_the_string_or_the_script() -> None:
    text = finder_data([Summary(HOSTILE, HOSTILE, HOSTILE, HOSTILE, family=HOSTILE, fuel=HOSTILE, words=HOSTILE)])
    assert "<" not in text
    assert not {"\u2028", "\u2029", "\ufeff", "\x00"} & set(text)
    assert text.count("\n") == 1
    assert text.startswith("globalThis.millbookFinderData=JSON.parse('{")
    assert text.endswith("}');\n")
    text.encode("utf-8")


@needs_node
def test_hostile_text_arrives_as_text(run: Run) -> None:
    build = Summary("a", HOSTILE, fuel=HOSTILE, words=HOSTILE)
    got = run(finder_data([build]), "[a.titles[0], core.valueOf(a, 'fuel', 0), a.words[0]]")
    want = " ".join(HOSTILE.split()).replace("\ud800", "?")
    assert got[:2] == [want, want]


@needs_node
def test_every_value_arrives(run: Run) -> None:
    builds = newest_first(samples.invented_archive(40, sparse=0.4))
    slugs = [f.slug for f in FIELDS]
    got = run(
        finder_data(builds, WEIGHTS),
        f"a.slugs.map((_, i) => [a.slugs[i], ...{json.dumps(slugs)}.map((s) => core.valueOf(a, s, i))])",
    )
    for build, row in zip(builds, got, strict=True):
        assert row[0] == build.slug
        for field, value in zip(FIELDS, row[1:], strict=True):
            want = getattr(build, field.slug)
            if isinstance(want, float):
                assert value == pytest.approx(want, abs=0.51 / field.quantum)
            else:
                assert value == want
    curves = run(finder_data(builds, WEIGHTS), "a.slugs.map((_, i) => core.curveOf(a, i))")
    for build, curve in zip(builds, curves, strict=True):
        if build.curve is None:
            assert curve is None
        else:
            assert curve["torque"] == pytest.approx(build.curve.torque, abs=0.051)
            assert curve["speed"] == pytest.approx(build.curve.speeds, abs=0.01)


@needs_node
def test_the_browser_computes_the_distances_of_python(run: Run) -> None:
    builds = samples.invented_archive(120, sparse=0.3)
    table = build_matrix(builds, WEIGHTS)
    plans = [
        *builds[:6],
        plan_from_values(displacement=0.0057, compression_ratio=10.5, fuel="gasoline", induction="naturally aspirated"),
        plan_from_values(fuel="hydrogen", cylinders=8, displacement=0.0057),
        plan_from_values(intake_duration_050=240.0),
        plan_from_values(cylinders=0, displacement=0.004),
    ]
    expression = (
        f"{json.dumps([plan_of(p) for p in plans])}.map((p) => ({{d: similarity.distances(a, p),"
        " why: a.slugs.map((_, i) => similarity.differences(a, p, i)"
        ".map((x) => similarity.differenceText(x, 'inch')))}))"
    )
    for plan, got in zip(plans, run(finder_data(builds, WEIGHTS), expression), strict=True):
        want = distances(table, plan)
        mine = [math.inf if d == "inf" else d for d in got["d"]]
        assert mine == pytest.approx(list(want), abs=1.1e-9)
        for summary, d, texts in zip(table.summaries, mine, got["why"], strict=True):
            if math.isfinite(d):
                assert texts == [x.text("inch") for x in differences(plan, summary, WEIGHTS)]


@needs_node
@pytest.mark.parametrize("count", [3, 40, 130, 460])
def test_the_browser_estimates_as_python_does(run: Run, count: int) -> None:
    builds = samples.invented_archive(count, sparse=0.15)
    sources = ("dyno log", NOTED_RESULT)
    builds = tuple(replace(s, result_source=sources[i % 2]) if s.peak_power else s for i, s in enumerate(builds))
    plans = [
        plan_from_values(
            displacement=0.0057, cylinders=8, compression_ratio=10.5, fuel="gasoline", induction="naturally aspirated"
        ),
        plan_from_values(displacement=0.002, stroke=0.086, cylinders=4, intake_duration_050=230.0),
        plan_from_values(displacement=0.5, fuel="hydrogen"),
        plan_from_values(displacement=0.0057, cylinders=8, compression_ratio=25.0, fuel="hydrogen"),
        plan_from_values(displacement=0.0057, cylinders=8, stroke=0.3, cycle="four-stroke"),
        plan_from_values(displacement=0.011, cylinders=8, cycle="four-stroke", lobe_separation=60.0),
        plan_from_values(displacement=0.005, stroke=0.5, valve_lift=0.1, compression_ratio=90.0),
        plan_from_values(fuel="gasoline"),
        plan_from_values(displacement=0.00573, family="Corran small block V8", cycle="two-stroke"),
        plan_from_values(displacement=0.00573, family="Corran small block V8", cylinders=8),
    ]
    answer = "similarity.estimate(a, p, 'inch')"
    working = "expected.map((result) => similarity.workingText(result, 'inch'))"
    one = f"((answer) => Object.assign(answer, {{working: answer.{working}}}))({answer})"
    expression = f"{json.dumps([plan_of(p) for p in plans])}.map((p) => {one})"
    for plan, got in zip(plans, run(finder_data(builds, WEIGHTS), expression), strict=True):
        want = estimate(builds, plan, WEIGHTS, system="inch")
        assert (tuple(got["reasons"]), tuple(got["notes"])) == (want.reasons, want.notes)
        assert [e["field"]["slug"] for e in got["expected"]] == [e.field.slug for e in want.expected]
        assert got["working"] == [e.working("inch") for e in want.expected]
        rows = newest_first(builds)
        for g, w in zip(got["expected"], want.expected, strict=True):
            assert [g["value"], g["average"], g["min"], g["max"], g["level"], g["error"]] == pytest.approx(
                [w.value, w.average, w.minimum, w.maximum, w.level, w.error], rel=1e-9
            )
            assert [(x["field"]["slug"], x["isBeyond"]) for x in g["adjustments"]] == [
                (x.field.slug, x.is_beyond) for x in w.adjustments
            ]
            assert [x["share"] for x in g["adjustments"]] + [g["otherAdjustments"]] == pytest.approx(
                [x.share for x in w.adjustments] + [w.other_adjustments], abs=1e-9
            )
            assert g["noted"] == w.noted
            assert (g["evaluated"], g["covered"], g["matchesEvaluated"], g["matchesCovered"]) == (
                w.evaluated, w.covered, w.matches_evaluated, w.matches_covered)  # fmt: skip
            assert g["leftOut"] == w.left_out
            assert [rows[i] for i in g["matches"]] == list(w.matches)


@needs_node
def test_the_browser_finds_what_python_finds(run: Run) -> None:
    builds = samples.invented_archive(150, sparse=0.3)
    asked = [
        ({"displacement": (0.004, 0.0062)}, {}, ""),
        ({"compression_ratio": (10.0, None), "bmep": (None, 1.2e6)}, {"fuel": ["gasoline", "E85"]}, ""),
        ({}, {"induction": ["turbocharged"]}, "four hone"),
        ({}, {}, "stavely"),
        ({}, {}, "turbo 9.5"),
        ({}, {}, "gasoline 10.5:1"),
        ({"year": (2010, 2015)}, {}, ""),
    ]
    filters = [{"ranges": r, "choices": c, "words": w} for r, c, w in asked]
    expression = f"{json.dumps(filters)}.map((f) => Array.from(core.filterRows(a, f)).map((i) => a.slugs[i]))"
    for (ranges, choices, words), got in zip(asked, run(finder_data(builds, WEIGHTS), expression), strict=True):
        want = [s.slug for s in find(builds, {slug: [limits] for slug, limits in ranges.items()}, choices, words)]
        assert want
        assert got == want


@needs_node
def test_sorting_keeps_the_unknown_last(run: Run) -> None:
    builds = samples.invented_archive(60, sparse=0.4)
    known = sorted(s.peak_power for s in builds if s.peak_power is not None)
    for slug in ("peak_power", "-peak_power"):
        order = f"core.sortRows(a, core.filterRows(a, {{}}), 'peak_power', {json.dumps(slug[0] == '-')})"
        rows = run(finder_data(builds), f"{order}.map((i) => core.valueOf(a, 'peak_power', i))")
        want = known if slug == "peak_power" else known[::-1]
        assert rows[: len(known)] == pytest.approx(want, abs=0.51)
        assert set(rows[len(known) :]) == {None}


@needs_node
def test_what_differs_is_the_same_list_in_both(run: Run) -> None:
    builds = newest_first(samples.invented_archive(12, sparse=0.3))
    want = compare([replace(s, parts=()) for s in builds[:3]], "inch")
    got = run(finder_data(builds), "core.compareBuilds(a, [0, 1, 2], 'inch')")
    assert [(r["slug"], tuple(r["values"])) for r in got["different"]] == [(r.slug, r.values) for r in want.rows]
    assert tuple(got["identical"]) == want.identical


@needs_node
@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("engine", [None, "E-1"])
def test_records_are_compared_alike_in_both(run: Run, system: System, engine: str | None) -> None:
    records = [replace(_record(slug), engine=engine) for slug in ("irrigation-single", "grasstrack-sidecar-twin")]
    scripts = [record_script(str(index), record).decode() for index, record in enumerate(records)]
    code = f"(() => {{ {''.join(scripts)} return core.compareRecords(Object.values(millbookRecords), '{system}'); }})()"
    got = run(finder_data([]), code)
    want = compare_records(records, system)
    assert [file["title"] for file in got] == [file.title for file in want]
    for file, wanted in zip(got, want, strict=True):
        rows = {row["title"]: tuple(row["values"]) for row in file["different"]}
        assert rows == {row.title: row.values for row in wanted.rows}
        assert sorted(file["identical"]) == sorted(wanted.identical)


def _record(slug: str) -> ComparedRecord:
    build, problems = read_build(BUILDS / slug, BUILDS.parent)
    assert build is not None, problems
    return compared_record(without_private(build))


@needs_node
def test_of_each_engine_the_latest_build_that_fits_is_shown(run: Run) -> None:
    def build(slug: str, year: int, engine: str | None) -> Summary:
        return Summary(slug, slug, date=f"{year}-01-01", engine=EngineBuild(engine) if engine else None)

    builds = [build("a", 2024, "E-1"), build("b", 2023, None), build("c", 2022, "e 1"), build("d", 2021, "E-2"),
              build("e", 2020, None)]  # fmt: skip
    assert run(finder_data(builds), "core.latestOfEngines(a, [0, 1, 2, 3, 4])") == [0, 1, 3, 4]
    assert run(finder_data(builds), "core.latestOfEngines(a, [1, 2, 4])") == [1, 2, 4]
    assert run(finder_data(builds), "core.writeState(a, core.readState(a, '#show=engines'))") == "show=engines&u=metric"


@needs_node
def test_a_search_survives_its_address(run: Run) -> None:
    address = (
        "#words=flat+four&displacement=120..150&compression_ratio=10..&fuel=gasoline|E85&plan.displacement=355"
        "&plan.fuel=gasoline&pick=kelda-00000,skerry-00002&sort=-bmep&x=compression_ratio&y=bmep&u=inch"
    )
    builds = samples.invented_archive(20)
    code = (
        f"(() => {{ const s = core.readState(a, {json.dumps(address)});"
        "const t = core.readState(a, '#' + core.writeState(a, s));"
        "return [s, t, core.filterFromState(a, s), core.planFromState(a, s)]; })()"
    )
    got = run(finder_data(builds), code)
    assert got[0] == got[1]
    assert got[0]["pick"] == ["kelda-00000", "skerry-00002"]
    assert got[2]["filter"]["ranges"]["displacement"] == pytest.approx([120 * 0.0254**3, 150 * 0.0254**3], abs=1e-7)
    assert got[2]["filter"]["ranges"]["compression_ratio"][1] is None
    assert got[3]["plan"] == {"displacement": pytest.approx(355 * 0.0254**3, abs=1e-7), "fuel": "gasoline"}


@needs_node
@pytest.mark.parametrize(
    "address",
    [
        "#%%%&=&&=1&displacement=a..b&fuel=<script>&sort=__proto__&x=toString&y=fuel&pick=,,../..&u=cubits",
        "#__proto__=1&constructor=2..3&plan.__proto__=4&plan.peak_power=9&plan.displacement=-1",
        "#displacement=1e308..1e999&compression_ratio=NaN..Infinity&year=9..1&plan.cylinders=" + "9" * 500,
        "?" + "words=" + "x" * 100_000,
        "#\x00\ud800&sort=-",
    ],
)
def test_an_edited_address_is_read_without_errors(run: Run, address: str) -> None:
    code = (
        f"(() => {{ const s = core.readState(a, {json.dumps(address)});"
        "const f = core.filterFromState(a, s), p = core.planFromState(a, s); core.writeState(a, s);"
        "return [s, core.filterRows(a, f.filter).length, similarity.distances(a, p.plan).length]; })()"
    )
    got = run(finder_data(samples.invented_archive(5)), code)
    assert got[0]["system"] in ("inch", "metric")
    assert got[0]["x"] in [f.slug for f in NUMBERS]
    assert not set(got[0]["choices"]) - {f.slug for f in CHOICES}
    assert got[2] == 5


@needs_node
def test_csv_is_escaped_and_complete(run: Run) -> None:
    formulas = ["=1+1", "+1", "-1+1", "@SUM(A1)", " =1", "\t=1", "\r=1", 'say "x", y', "plain", "%0A", "|cmd"]
    got = run(finder_data([]), f"{json.dumps(formulas)}.map(core.csvCell)")
    assert got[:6] == ["'=1+1", "'+1", "'-1+1", "'@SUM(A1)", "' =1", '"\'\t=1"']
    assert got[7:] == ['"say ""x"", y"', "plain", "'%0A", "'|cmd"]
    build = Summary("a", '=HYPERLINK("x")', cam_advance=-4.0, displacement=0.0057, fuel="gasoline")
    text = run(
        finder_data([build]), "core.toCsv(a, [0], ['title', 'cam_advance', 'displacement', 'fuel', 'bmep'], 'inch')"
    )
    assert text == (
        "Build id,Build,Cam advance [°],Displacement [cu in],Fuel,BMEP at peak torque [psi]\r\n"
        'a,"\'=HYPERLINK(""x"")",-4,347.8,gasoline,\r\n'
    )


@needs_node
@pytest.mark.parametrize(
    ("text", "value"),
    [("", None), (" 10,5 ", 10.5), ("1 250", 1250), ("1e3", 1000), ("ten", "nan"), ("1.2.3", "nan"), ("1e999", "nan"),
     ("0x10", "nan"), ("-4", -4), ("--4", "nan")],
)  # fmt: skip
def test_numbers_are_read_as_typed(run: Run, text: str, value: object) -> None:
    got = run(
        finder_data([]), f"(() => {{ const v = core.parseNumber({json.dumps(text)}); return v !== v ? 'nan' : v; }})()"
    )
    assert got == value


@needs_node
def test_ticks_are_round_and_inside(run: Run) -> None:
    assert run(finder_data([]), "core.ticks(3, 97, 5)") == [20, 40, 60, 80]
    assert run(finder_data([]), "core.ticks(-0.1, 0.32, 4)") == pytest.approx([-0.1, 0, 0.1, 0.2, 0.3])
    assert run(finder_data([]), "core.ticks(5, 5, 4)") == [5]


@needs_node
def test_an_empty_archive_decodes(run: Run) -> None:
    assert run(
        finder_data([]), "[a.size, core.filterRows(a, {}).length, similarity.distances(a, {displacement: 1}).length]"
    ) == [0, 0, 0]
    curve, part = CoarseCurve(10.0, 5.0, (math.nan, 1.0)), PartSummary("x", "y", "z")
    bare = finder_data([Summary("a", "A"), Summary("b", "B", curve=curve, parts=(part,))])
    assert run(bare, "[a.size, a.curves, core.filterRows(a, {}).length]") == [2, ["", ""], 2]
