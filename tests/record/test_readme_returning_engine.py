"""Two builds of one engine, written from nothing but the examples in the README."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

from builder.archive.build_summary import summary_of_record
from builder.archive.due_report import due_report
from builder.archive.engine_history import engine_histories
from builder.publish.record_check import check_records
from builder.record.load import read_build, read_shop

README = Path(__file__).resolve().parents[2] / "README.md"
_EXAMPLE = re.compile(r"```yaml\n# (\w+)\.yaml\n(.*?)```", re.DOTALL)
HEAD = "title: Pilot launch\nstatus: finished\nengine: {cylinders: 4}\n"
INSTRUMENTS = "instruments: [{id: B2, kind: bore gauge, resolution: 0.0001 in, expanded_uncertainty: 0.0001 in}]\n"


def _examples(title: str) -> dict[str, str]:
    """Return the YAML examples of a section of the README by the name of their file."""
    section = README.read_text(encoding="utf-8").partition(f"\n## {title}\n")[2].partition("\n## ")[0]
    return dict(_EXAMPLE.findall(section))


def test_the_examples_of_the_readme_are_the_history_of_an_engine(tmp_path: Path) -> None:
    returned, later = _examples("An engine that comes back"), _examples("After delivery")
    assert (set(returned), set(later)) == ({"build", "bottom_end", "returned"}, {"service", "delivery"})
    first = {
        "build": f"{HEAD}engine_number: E-041\nstarted: 2024-02-01\nfinished: 2024-04-30\n",
        "bottom_end": "block:\n  bores: {unit: in, measured: [4.0305, 4.0304, 4.0306, 4.0305], with: B2}\n"
        "crankshaft:\n  main_journals: {unit: in, measured: [2.4483, 2.4484, 2.4483], resolution: 0.0001 in}\n",
        "service": later["service"],
        "delivery": f"delivered: 2024-05-01\n{later['delivery']}",
    }
    second = {**returned, "build": f"{HEAD}started: 2026-01-10\nfinished: 2026-03-01\n{returned['build']}"}
    for slug, files in (("pilot-2024", first), ("pilot-2026", second)):
        folder = tmp_path / "builds" / slug
        folder.mkdir(parents=True)
        for name, text in files.items():
            (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "builds" / "shop.yaml").write_text(INSTRUMENTS, encoding="utf-8")
    report = check_records(tmp_path)
    assert [str(problem) for problem in report.problems] == []
    shop, _ = read_shop(tmp_path)
    builds = [read_build(tmp_path / "builds" / slug, tmp_path)[0] for slug in ("pilot-2024", "pilot-2026")]
    (history,) = engine_histories([summary_of_record(build, shop) for build in builds if build]).values()
    bores, journals, leak_down, oil_pressure = history.readings
    assert [reading.title for reading in history.readings] == ["Bores", "Main journals", "Leak down", "Oil pressure"]
    assert [bores.number(worn) for worn in bores.intervals[0].worn] == ["0.0013", "0.0017", "0.0011", "0.0015"]
    assert [journals.number(worn) for worn in journals.intervals[0].worn] == ["0.0002", "0.0002", "0.0002"]
    assert bores.intervals[0].is_measurable == (True,) * 4
    assert (leak_down.intervals, oil_pressure.intervals) == ((), ())
    lines = due_report(tmp_path, datetime.date(2026, 6, 1)).lines
    assert lines[0].startswith("nothing due")  # the engine came back, and its new build was not delivered yet


def test_the_schedule_of_the_readme_is_due(tmp_path: Path) -> None:
    later = _examples("After delivery")
    folder = tmp_path / "builds" / "pilot"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text(HEAD, encoding="utf-8")
    (folder / "delivery.yaml").write_text(f"delivered: 2024-05-01\n{later['delivery']}", encoding="utf-8")
    (folder / "service.yaml").write_text(later["service"], encoding="utf-8")
    (oil,) = due_report(tmp_path, datetime.date(2024, 10, 10)).lines
    assert oil.startswith("later     pilot: oil: oil and filter; by 2025-08-10 or at 68 h")
