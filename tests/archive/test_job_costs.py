"""Hours and prices of past builds, for quoting."""

from __future__ import annotations

from pathlib import Path

from builder.archive.job_costs import cost_ranges, job_costs
from builder.record.load import read_build


def _build(archive: Path, slug: str, **files: str) -> Path:
    folder = archive / "builds" / slug
    folder.mkdir(parents=True)
    for name, text in {"build": f"title: {slug}\nengine: {{cylinders: 4}}\n", **files}.items():
        (folder / f"{name}.yaml").write_text(text)
    return folder


def test_hours_and_prices_are_summed_and_say_what_they_leave_out(tmp_path: Path) -> None:
    work = "operations: [{what: bored, hours: 2.5}, {what: honed, hours: 90 min}, {what: washed}]\n"
    parts = (
        "parts:\n  - {part: pistons, price: £260}\n  - {part: rods, price: '£1,040.50'}\n  - {part: cam, price: free}\n"
        "  - {part: rings, price: £99, verdict: returned}\n  - {part: heads, source: customer's own}\n  - part: bolts\n"
    )
    build, problems = read_build(_build(tmp_path, "one", work=work, parts=parts), tmp_path)
    assert build is not None, problems
    costs = job_costs(build)
    assert (costs.hours, costs.timed, costs.operations) == (4.0, 2, 3)
    assert costs.hours_text == "4.0 h or more (2 of 3 operations timed)"
    assert costs.parts_text == "parts £1,300.50 or more (2 of 4 entries priced); not a single amount: 'free'"


def test_ranges_name_how_many_builds_they_rest_on(tmp_path: Path) -> None:
    builds = []
    for number, hours in enumerate(("10", "40 h", "20", None)):
        work = f"operations: [{{what: all of it{f', hours: {hours}' if hours else ''}}}]\n"
        price = f"parts: [{{part: pistons, price: {100 * number + 100} EUR}}]\n"
        builds.append(read_build(_build(tmp_path, f"b{number}", work=work, parts=price), tmp_path)[0])
    ranges = cost_ranges([job_costs(build) for build in builds if build is not None])
    assert [item.text for item in ranges] == [
        "hours 10 h to 40 h, median 20 h (recorded by 3 of 4)",
        "parts 100 EUR to 400 EUR, median 250 EUR (recorded by 4 of 4)",
    ]
    assert cost_ranges([]) == ()


def test_hours_without_sense_are_reported(tmp_path: Path) -> None:
    folder = _build(tmp_path, "one", work="operations: [{what: bored, hours: -2}]\n")
    build, problems = read_build(folder, tmp_path)
    assert build is None
    assert "builds/one/work.yaml:1" in str(problems[0])
