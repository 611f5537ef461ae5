"""Builds of one engine that cannot all be true: each with file, line and fix, from `check` and from `publish`."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.pipeline import publish
from builder.publish.record_check import check_records

HEAD = "title: T\nstatus: finished\nengine: {cylinders: 4}\nengine_number: E-041\n"
FIRST = f"{HEAD}started: 2022-01-10\nfinished: 2022-03-01\n"
SECOND = f"{HEAD}started: 2024-01-10\nfinished: 2024-03-01\n"
BUILT = "block: {bores: {unit: mm, measured: [81.503, 81.505, 81.501, 81.505]}}\n"


def _write(archive: Path, **builds: dict[str, str] | str) -> None:
    for slug, files in builds.items():
        folder = archive / "builds" / slug
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in ({"build": files} if isinstance(files, str) else files).items():
            (folder / f"{name}.yaml").write_text(text, encoding="utf-8")


def _problems(archive: Path) -> list[str]:
    return [str(problem) for problem in check_records(archive).problems]


CASES: list[tuple[dict[str, dict[str, str] | str], str, str]] = [
    (
        {"one": FIRST, "two": f"{SECOND}previous_build: two\n"},
        "builds/two/build.yaml:7: error",
        "is this build itself: name the one before it",
    ),
    (
        {"one": FIRST, "two": f"{SECOND}previous_build: onee\n"},
        "builds/two/build.yaml:7: error",
        "there is no build 'onee': did you mean 'one'?",
    ),
    (
        {"one": f"{FIRST}previous_build: two\n", "two": f"{SECOND}previous_build: one\n"},
        "builds/one/build.yaml:7: error",
        "goes in a circle: two before one before two: correct one of them",
    ),
    (
        {"one": FIRST, "two": f"{SECOND}previous_build: one\n",
         "three": f"{SECOND.replace('2024', '2025')}previous_build: one\n"},
        "builds/two/build.yaml:7: error",
        "one is also the build before three: correct one of them",
    ),
    (
        {"one": FIRST.replace("E-041", "E-009"), "two": f"{SECOND}previous_build: one\n",
         "three": SECOND.replace("E-041", "E-009").replace("2024", "2025")},
        "builds/two/build.yaml:7: error",
        "one is of engine E-009: write engine_number: E-041 there too",
    ),
    (
        {"one": FIRST.replace("engine_number: E-041\n", ""), "two": f"{SECOND}previous_build: one\n"},
        "builds/two/build.yaml:7: error",
        "one has no engine number: write engine_number: E-041 there too",
    ),
    (
        {"one": SECOND.replace("2024", "2025"), "two": f"{SECOND}previous_build: one\n"},
        "builds/two/build.yaml:7: error",
        "one was started on 2025-01-10, after this one (2024-01-10)",
    ),
    (
        {"one": FIRST.replace("finished: 2022", "finished: 2024"), "two": SECOND},
        "builds/two/build.yaml:4: error",
        "is in two builds at once: here from 2024-01-10, and in one from 2022-01-10 to 2024-03-01",
    ),
    (
        {"one": FIRST, "two": SECOND.replace("cylinders: 4", "cylinders: 6")},
        "builds/two/build.yaml:4: error",
        "has cylinders 6 here and 4 in one: it is another engine; give it another engine_number",
    ),
    (
        {"one": {"build": FIRST, "service": "entries: [{when: 2022-08-01, hours: 60, what: oil}]\n"},
         "two": f"{SECOND}since_last: {{hours: 42}}\n"},
        "builds/two/build.yaml:7: error",
        "42 hours since the last build, and one was serviced or had an event at 60",
    ),
    (
        {"one": {"build": FIRST, "bottom_end": BUILT},
         "two": {"build": SECOND, "bottom_end": BUILT.replace("{unit: mm,", "{unit: mm,\n  returned: [81.52, 81.52, 91.52, 81.52],")}},  # noqa: E501
        "builds/two/bottom_end.yaml:2: error",
        "bores, cylinder 3: 91.52 mm as returned, 81.501 mm as built in one: no engine wears so far",
    ),
    (
        {"one": {"build": FIRST, "bottom_end": BUILT},
         "two": {"build": SECOND, "bottom_end": BUILT.replace("{unit: mm,", "{unit: mm,\n  returned: [81.52, 81.40, 81.52, 81.52],")}},  # noqa: E501
        "builds/two/bottom_end.yaml:2: warning",
        "bores, cylinder 2: 81.4 mm as returned, 81.505 mm as built in one: it does not shrink in use",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("builds", "where", "message"), CASES, ids=[message[:40] for _, _, message in CASES])
def test_what_cannot_be_true_has_file_line_and_fix(
    tmp_path: Path, builds: dict[str, dict[str, str] | str], where: str, message: str
) -> None:
    _write(tmp_path, **builds)
    found = [problem for problem in _problems(tmp_path) if problem.startswith(where) and message in problem]
    assert len(found) == 1, _problems(tmp_path)


def test_an_engine_in_work_is_in_one_build_only(tmp_path: Path) -> None:
    in_work = FIRST.replace("status: finished", "status: in progress").replace("finished: 2022-03-01\n", "")
    _write(tmp_path, one=in_work, two=SECOND)
    assert any("from 2022-01-10 and is not finished" in problem for problem in _problems(tmp_path))


def test_two_builds_that_agree_have_no_problem(tmp_path: Path) -> None:
    service = "entries: [{when: 2022-08-01, hours: 42, what: oil}]\n"
    returned = BUILT.replace("{unit: mm,", "{unit: mm, returned: [81.52, 81.52, 81.49, 81.52],")
    _write(
        tmp_path,
        one={"build": FIRST, "service": service, "bottom_end": BUILT},
        two={"build": f"{SECOND}since_last: {{hours: 42}}\nprevious_build: one\n", "bottom_end": returned},
    )
    assert _problems(tmp_path) == []


def test_the_other_builds_of_an_engine_count_when_one_is_checked(tmp_path: Path) -> None:
    _write(tmp_path, one=FIRST, two=SECOND.replace("cylinders: 4", "cylinders: 6"), other=HEAD.replace("E-041", "E-2"))
    problems = [str(problem) for problem in check_records(tmp_path, ["one"]).problems]
    assert [problem.split(":")[0] for problem in problems] == ["builds/two/build.yaml"]
    assert not check_records(tmp_path, ["other"]).problems


def test_a_publish_reports_the_same_and_reports_it_again_when_nothing_changed(tmp_path: Path) -> None:
    _write(tmp_path, one=FIRST, two=SECOND.replace("cylinders: 4", "cylinders: 6"))
    report = publish(tmp_path, tmp_path / "site")
    assert [str(problem) for problem in report.problems] == _problems(tmp_path)
    assert not report.ok
    assert report.published == ("one", "two")
    again = publish(tmp_path, tmp_path / "site")
    assert (again.problems, again.unchanged_problems, again.ok) == ((), (1, 0), False)
    _write(tmp_path, two=SECOND)
    assert publish(tmp_path, tmp_path / "site").ok
