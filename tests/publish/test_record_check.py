"""The check of records: files that are not pictures, notes on logs, and readiness for delivery."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from builder.publish.record_check import check_records
from builder.record.report import CommandReport

BUILD = "title: Test engine\nstatus: finished\nengine: {cylinders: 4}\n"
BOTTOM_END = "block: {bores: 81.5 mm}\ncrankshaft: {stroke: 77.6 mm}\n"
LOG = "Engine speed (rpm),Torque (N m)\n" + "".join(f"{rpm},{120 + rpm % 7}\n" for rpm in range(2000, 5000, 100))


def checked(archive: Path, *, delivery: bool = False, **documents: str) -> CommandReport:
    """Write one build and check it by name."""
    folder = archive / "builds" / "test-four"
    for part in ("dyno", "photos"):
        (folder / part).mkdir(parents=True, exist_ok=True)
    for name, text in {"build": BUILD, "bottom_end": BOTTOM_END, **documents}.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return check_records(archive, ("test-four",), delivery=delivery)


def test_a_file_that_is_not_a_picture_is_a_problem(tmp_path: Path) -> None:
    photos = tmp_path / "builds" / "test-four" / "photos"
    photos.mkdir(parents=True)
    whole = photos / "whole.jpg"
    Image.effect_noise((400, 300), 60).convert("RGB").save(whole)
    (photos / "words.jpg").write_text("this is no picture")
    (photos / "short.jpg").write_bytes(whole.read_bytes()[:4000])
    listed = "".join(f"  - {{file: photos/{name}.jpg, alt: A gasket}}\n" for name in ("whole", "words", "short"))
    report = checked(tmp_path, photos=f"photos:\n{listed}")
    assert not report.ok
    lines = [str(problem) for problem in report.problems]
    assert len(lines) == 2
    assert "photos.yaml:3: error: 'words.jpg' is not a JPEG or PNG picture" in lines[0]
    assert "photos.yaml:4: error: 'short.jpg' is damaged or cut short" in lines[1]


def test_notes_of_the_previous_log_are_not_repeated(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / "builds" / "test-four" / "dyno").mkdir(parents=True, exist_ok=True)
        (tmp_path / "builds" / "test-four" / "dyno" / f"{name}.csv").write_text(LOG if name == "a" else LOG + LOG[-8:])
    pulls = "pulls: [{name: first, file: dyno/a.csv}, {name: second, file: dyno/b.csv}]\n"
    report = checked(tmp_path, dyno=f"readings: observed\n{pulls}")
    text = "\n".join(report.lines)
    assert text.count("Engine speed: 'Engine speed (rpm)' (column 1), rpm; Torque:") == 1
    assert "30 rows of numbers read" in text
    assert "test-four, second: same format as 'first'\n  31 rows of numbers read" in text


def test_a_spike_is_reported_with_its_speed(tmp_path: Path) -> None:
    dyno = tmp_path / "builds" / "test-four" / "dyno"
    dyno.mkdir(parents=True)
    (dyno / "a.csv").write_text(LOG.replace("\n3500,", "\n3500,9"))
    report = checked(tmp_path, dyno="readings: observed\npulls: [{name: first, file: dyno/a.csv}]\n")
    assert "  a lone spike of torque is set aside, at 3,500 rpm" in report.lines


def test_without_requirements_nothing_is_called_ready(tmp_path: Path) -> None:
    report = checked(tmp_path, delivery=True)
    assert any("shop.yaml has no delivery requirements" in line for line in report.lines)
    assert not any("ready for delivery" in line for line in report.lines)
    (tmp_path / "builds" / "shop.yaml").write_text("name: Shop\ndelivery_requires: [delivery.fluids]\n")
    report = checked(tmp_path, delivery=True)
    assert not report.ok
    assert "test-four: not ready for delivery" in report.lines


def test_readings_that_conflict_are_warnings_with_every_place(tmp_path: Path) -> None:
    report = checked(tmp_path, top_end="gasket:\n  number: GG\n  bore: 80.5 mm\n")
    assert report.ok
    (problem,) = report.problems
    assert (problem.path.name, problem.line, problem.severity) == ("top_end.yaml", 3, "warning")
    assert set(problem.fields) == {"top_end.gasket.bore", "bottom_end.block.bores"}
    assert "gasket bore 80.5 mm (top_end.yaml:3)" in problem.message
    assert "bore 81.5 mm (bottom_end.yaml:1)" in problem.message
