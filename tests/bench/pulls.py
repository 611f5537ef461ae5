"""A pull from file to figures, beside two readers that everybody knows; a session of pulls; a curve by itself.

Every reader runs in a process of its own, so that the memory printed is that reader's alone. All read the same file
in the same run. The other two only read: they find no header, no units, no loaded part and no curve.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.bench.aims import print_figure
from tests.bench.measure import ROOT, least_seconds

ROWS = (100, 1_000_000)
BUILD = "title: Bench\nstatus: finished\nengine: {cylinders: 4, fuel: petrol}\n"
BOTTOM_END = "block: {bores: 81.50 mm}\ncrankshaft: {stroke: 77.60 mm}\n"
SESSION = """\
readings: observed
conditions: {barometer: 1000 hPa, barometer_is: station, temperature: 20 degC, relative_humidity: 50 %}
pulls: [{name: pull, file: dyno/pull.csv}]
"""


def write_pull(archive: Path, rows: int) -> Path:
    """Write a build with one pull: a step test, or for many rows a sweep at 1 kHz with its run-up and coast-down."""
    folder = archive / "builds" / "bench"
    (folder / "dyno").mkdir(parents=True, exist_ok=True)
    (folder / "build.yaml").write_text(BUILD)
    (folder / "bottom_end.yaml").write_text(BOTTOM_END)
    (folder / "dyno.yaml").write_text(SESSION)
    random = np.random.default_rng(1)
    if rows <= 1000:
        rpm = np.linspace(2000, 6000, rows)
        torque = 130 * (1 - 0.25 * ((rpm - 3500) / 2500) ** 2)
    else:
        up, down = rows // 10, rows // 5
        pull = rows - up - down
        rpm = np.concatenate(
            [np.linspace(1000, 2000, up), np.linspace(2000, 6000, pull), np.linspace(6000, 1500, down)]
        )
        torque = 130 * (1 - 0.25 * ((rpm - 3500) / 2500) ** 2)
        torque[:up], torque[-down:] = 8.0, -15.0
    torque = torque + random.normal(0, 0.4, rows)
    columns = np.column_stack([
        np.arange(rows) * 1e-3, rpm, torque, torque * rpm * 2 * np.pi / 60e3, 200 + rpm / 30, 0.88 + 0 * rpm,
    ])  # fmt: skip
    path = folder / "dyno" / "pull.csv"
    with path.open("w") as out:
        out.write("Time (s),Engine speed (rpm),Torque (N m),Power (kW),Oil pressure (kPa),Lambda\n")
        np.savetxt(out, columns, fmt=("%.3f", "%.1f", "%.2f", "%.3f", "%.1f", "%.3f"), delimiter=",")
    return path


def _millbook(archive: Path) -> Callable[[], object]:
    """Return the way from a log to the corrected curve and all checks."""
    from builder.figures.dyno.session import analyse_session
    from builder.record.dyno_log.reader import read_dyno_log
    from builder.record.load import read_build
    from builder.record.models.shop import Shop

    folder = archive / "builds" / "bench"
    small = archive / "warm" / "builds" / "bench"
    write_pull(archive / "warm", 100)
    warm, _ = read_build(small, archive / "warm")  # imports and units are paid once, not by every pull
    assert warm is not None
    analyse_session(warm, Shop())

    def run() -> object:
        from dataclasses import replace

        log, problems = read_dyno_log(folder / "dyno" / "pull.csv")
        assert log is not None, problems
        session = analyse_session(replace(warm, logs={"pull": log}), Shop())
        assert session is not None
        assert session.delivered is not None
        assert abs(session.delivered.corrected.observed_torque.max() - 130) < 1.0
        return session

    return run


def _pandas(archive: Path) -> Callable[[], object]:
    import pandas

    path = archive / "builds" / "bench" / "dyno" / "pull.csv"
    return lambda: pandas.read_csv(path)


def _numpy(archive: Path) -> Callable[[], object]:
    path = archive / "builds" / "bench" / "dyno" / "pull.csv"
    return lambda: np.loadtxt(path, delimiter=",", skiprows=1)


CASES: dict[str, Callable[[Path], Callable[[], object]]] = {
    "Millbook, reading to figures": _millbook,
    "pandas.read_csv, reading only": _pandas,
    "numpy.loadtxt, reading only": _numpy,
}


def session_seconds(pulls: int = 6, times: int = 10) -> float:
    """Return how long a session of some pulls with nineteen channels each takes, the logs already read."""
    from builder.figures.dyno.session import analyse_session
    from builder.record.load import read_build
    from builder.record.models.shop import Shop

    rpm = np.arange(1800, 5401, 100)
    names = [
        "Oil pressure (kPa)",
        "Oil temp (degC)",
        "Water temp (degC)",
        "Lambda",
        "Fuel flow (kg/h)",
        "Air flow (kg/h)",
    ]
    names += ["Blow-by (L/min)", "MAP (kPa)", *(f"EGT {k} (degC)" for k in range(1, 9))]
    levels = [300, 90, 80, 0.88, 15, 190, 20, 98, *([700] * 8)]
    with tempfile.TemporaryDirectory() as temporary:
        archive = Path(temporary)
        folder = write_pull(archive, 100).parents[1]
        session = SESSION.split("pulls:")[0] + "pulls:\n"
        for k in range(pulls):
            random = np.random.default_rng(k)
            torque = 130 * (1 - 0.25 * ((rpm - 3500) / 2500) ** 2) + random.normal(0, 0.4, rpm.size)
            columns = [rpm, torque, torque * rpm * 2 * np.pi / 60e3]
            columns += [level * (1 + random.normal(0, 0.005, rpm.size)) for level in levels]
            header = ",".join(["Engine speed (rpm)", "Torque (N m)", "Power (kW)", *names])
            rows = "\n".join(",".join(f"{value:.3f}" for value in row) for row in zip(*columns, strict=True))
            (folder / "dyno" / f"{k}.csv").write_text(f"{header}\n{rows}\n")
            since = f", changed: jets, since: p{k - 1}" if k % 2 else f", repeat_of: p{k - 1}" if k else ""
            session += f"  - {{name: p{k}, file: dyno/{k}.csv{since}}}\n"
        (folder / "dyno.yaml").write_text(session)
        build, problems = read_build(folder, archive)
    assert build is not None, problems
    assert analyse_session(build, Shop()) is not None
    return least_seconds(lambda: analyse_session(build, Shop()), times)


def print_engine() -> None:
    """Print how long a curve, and the search for the loaded part, take with the readings in memory."""
    from builder.engine.curves import curve, mean_over
    from builder.engine.peaks import peak, torque_band
    from builder.engine.pull_segmentation import loaded_part

    random = np.random.default_rng(3)
    few = np.linspace(2000, 6500, 100)

    def torque(rpm: np.ndarray) -> np.ndarray:
        return 460 - ((rpm - 4400) / 150) ** 2

    def judge() -> None:
        # Other speeds each time, so that nothing cached from the last pull helps.
        pull = curve((few + random.uniform(0, 5)) / 60, torque(few))
        peak(pull)
        mean_over(pull, 50.0, 100.0)
        torque_band(pull)

    print_figure("curve of 100 rows", 1e3 * least_seconds(judge, 15))
    many = np.linspace(2000, 6500, 1_000_000) + random.normal(0, 8, 1_000_000)
    readings = torque(many) + random.normal(0, 6, 1_000_000)
    print_figure("curve of 1,000,000 rows", 1e3 * least_seconds(lambda: curve(many / 60, readings), 2))
    sweep = np.concatenate([np.linspace(1000, 2000, 90_000), np.linspace(2000, 6000, 630_000),
                            np.linspace(6000, 1500, 180_000)])  # fmt: skip
    load = np.concatenate([np.full(90_000, 8.0), torque(sweep[90_000:720_000]), np.full(180_000, -15.0)])
    at = np.arange(sweep.size) / 1000
    seconds = least_seconds(lambda: loaded_part(sweep / 60, load, at), 2)
    print_figure("loaded part of 900,000 rows", 1e3 * seconds)


def main() -> None:
    """Print the readers' table and the figures beside their aims, or measure one reader for the table."""
    if len(sys.argv) == 4:
        run, times = CASES[sys.argv[1]](Path(sys.argv[2])), int(sys.argv[3])
        seconds = least_seconds(run, times)
        print(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        return
    ours = next(iter(CASES))
    for rows in ROWS:
        with tempfile.TemporaryDirectory() as folder:
            write_pull(Path(folder), rows)
            for case in CASES:
                command = [sys.executable, "-m", "tests.bench.pulls", case, folder, "20" if rows <= 1000 else "3"]
                output = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT).stdout
                seconds, megabytes = map(float, output.split())
                if case == ours:
                    print_figure(f"pull of {rows:,} rows", 1e3 * seconds, case)
                    if rows > 1000:
                        print_figure(f"pull of {rows:,} rows, memory", megabytes, case)
                else:
                    print(f"  {case:<58}{1e3 * seconds:>10.4g} ms     {megabytes:,.0f} MB", flush=True)
    print_figure("session of six pulls", 1e3 * session_seconds())
    print_engine()


if __name__ == "__main__":
    main()
