"""The demonstration archive: its logs as the engine model writes them, read without a problem, and consistent."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from builder.record.load import build_folders, read_build, read_shop
from builder.record.models.build import Build
from tests.demo.engine_specs import Session
from tests.demo.sessions import SESSIONS
from tests.support.demo_builds import SAMPLE, folder_of

ARCHIVE = Path(__file__).parents[2]
LOGS = {name: content for session in SESSIONS for name, content in session.logs().items()}
READ = {folder.name: read_build(folder, ARCHIVE) for folder in build_folders(ARCHIVE)}
BUILDS = {name: build for name, (build, _) in READ.items() if build is not None}


def values(build: Build, path: str) -> np.ndarray | None:
    reading = build.get(path)
    return reading.values if reading is not None and reading.preferred else None


def displacement(build: Build) -> float | None:
    bore, stroke = values(build, "bottom_end.block.bores"), values(build, "bottom_end.crankshaft.stroke")
    return (
        None if bore is None or stroke is None else float(math.pi / 4 * bore.mean() ** 2 * stroke[0] * build.cylinders)
    )


def test_every_build_and_the_shop_are_read_without_a_problem() -> None:
    assert read_shop(ARCHIVE)[1] == []
    assert [str(problem) for _, problems in READ.values() for problem in problems] == []
    assert {slug for slug in SAMPLE if folder_of(slug).parent.parent == ARCHIVE} <= set(BUILDS) == set(READ)


@pytest.mark.parametrize("name", sorted(LOGS))
def test_a_log_is_what_the_engine_model_writes(name: str) -> None:
    assert (ARCHIVE / "builds" / name).read_bytes() == LOGS[name]


def test_every_file_is_a_log_of_the_engine_model_or_a_photo_of_the_record() -> None:
    photos = {f"{slug}/{photo.file}" for slug, build in BUILDS.items() if build.photos for photo in build.photos.photos}
    files = {path.relative_to(ARCHIVE / "builds").as_posix() for path in (ARCHIVE / "builds").glob("*/*/*")}
    assert files == set(LOGS) | photos


def test_archive_stays_small() -> None:
    sizes = {path: path.stat().st_size for path in (ARCHIVE / "builds").rglob("*") if path.is_file()}
    assert sum(sizes.values()) < 4.5e6
    assert all(size < 120_000 for size in sizes.values())


def test_breadth_of_the_archive() -> None:
    sheets = [build.build for build in BUILDS.values()]
    assert {sheet.invented for sheet in sheets} == {"invented for demonstration"}
    assert [sheet.status for sheet in sheets].count("in progress") == 1
    years = sorted(sheet.finished.year for sheet in sheets if sheet.finished)
    assert years[0] < 2000
    assert years[-1] >= 2026
    kinds = {(sheet.engine.layout, sheet.engine.cylinders) for sheet in sheets}
    assert len(kinds) >= 6
    fuels = {sheet.engine.fuel.kind for sheet in sheets if sheet.engine.fuel}
    assert {"gasoline", "E85", "methanol", "diesel"} <= fuels
    assert {sheet.engine.cycle for sheet in sheets} == {"four-stroke", "two-stroke"}


STACK = (
    "bottom_end.block.deck_height",
    "bottom_end.crankshaft.stroke",
    "bottom_end.rods.length",
    "bottom_end.pistons.compression_height",
    "bottom_end.deck_clearance",
)
STACKED = [slug for slug in sorted(BUILDS) if all(values(BUILDS[slug], path) is not None for path in STACK)]
CARDED = [
    slug for slug in sorted(BUILDS) if BUILDS[slug].get("cam.card.intake") and BUILDS[slug].get("top_end.rockers.ratio")
]
DEGREED = [slug for slug in sorted(BUILDS) if BUILDS[slug].get("cam.degreeing.events")]


def test_enough_builds_hold_what_the_next_checks_need() -> None:
    assert len(STACKED) >= 9
    assert len(CARDED) >= 8
    assert len(DEGREED) >= 6


@pytest.mark.parametrize("slug", STACKED)
def test_deck_clearance_agrees_with_the_stack(slug: str) -> None:
    deck, stroke, rod, height, measured = (float(np.mean(BUILDS[slug].get(path).values)) for path in STACK)
    assert deck - (stroke / 2 + rod + height) == pytest.approx(measured, abs=0.03e-3)


@pytest.mark.parametrize("slug", CARDED)
def test_lift_at_the_valve_is_lobe_times_rocker(slug: str) -> None:
    build = BUILDS[slug]
    ratio = build.get("top_end.rockers.ratio").values[0]
    for side in ("intake", "exhaust"):
        lobe, lift = (build.get(f"cam.card.{side}.{at}_lift").values[0] for at in ("lobe", "valve"))
        assert lift == pytest.approx(lobe * ratio, rel=0.01)


@pytest.mark.parametrize("slug", DEGREED)
def test_measured_events_agree_with_the_card_as_installed(slug: str) -> None:
    cam = BUILDS[slug].cam
    assert cam is not None
    assert cam.card is not None
    assert cam.installed is not None
    assert cam.degreeing is not None
    for side, name in (("intake", "intake_centerline"), ("exhaust", "exhaust_centerline")):
        card, centre = getattr(cam.card, side), getattr(cam.installed, name).si
        durations = {duration.at: duration.duration.si for duration in card.durations}
        for events in cam.degreeing.events:
            half = durations[events.at] / 2
            opens, closes = getattr(events, f"{side}_opens").si, getattr(events, f"{side}_closes").si
            # Counted from the dead centre at overlap, the far event lies 180 degrees beyond the other one.
            near, far = (opens, closes) if side == "intake" else (closes, opens)
            assert near == pytest.approx(half - centre, abs=1.0)
            assert far == pytest.approx(half + centre - 180, abs=1.0)
        for pair in getattr(cam.degreeing, side):
            assert (pair.opening.si + pair.closing.si) / 2 == pytest.approx(centre, abs=1.0)


@pytest.mark.parametrize("session", SESSIONS, ids=lambda session: session.slug)
def test_logs_are_plausible_engines(session: Session) -> None:
    build = BUILDS[session.slug]
    volume = displacement(build)
    assert volume == pytest.approx(session.engine.displacement, rel=0.002)
    for pull in build.pulls:
        channels = build.logs[pull.name].channels
        speed = channels["engine_speed"]
        torque = channels.get("torque", channels["power"] / (2 * np.pi * speed) if "power" in channels else None)
        assert torque is not None
        if "power" in channels and "torque" in channels:
            assert channels["power"] == pytest.approx(2 * np.pi * speed * torque, rel=0.005)
        bmep = 2 * np.pi * build.revolutions_per_cycle * torque.max() / volume
        assert 7.5e5 < bmep < (36e5 if session.engine.boost else 14e5)
        power = 2 * np.pi * speed * torque
        if "fuel_flow" in channels:
            best = (channels["fuel_flow"] / power).min() * 3.6e9
            low, high = {"E85": (330, 480), "diesel": (200, 250)}.get(build.build.engine.fuel.kind, (240, 330))  # type: ignore[union-attr]
            assert low < best < high
        if "air_flow_volume" in channels:
            filled = channels["air_flow_volume"] / (volume * speed / build.revolutions_per_cycle)
            assert 0.64 < filled.min() < filled.max() < 1.15  # the low end is the truck on its worn cam


@pytest.mark.parametrize("session", SESSIONS, ids=lambda session: session.slug)
def test_weather_of_the_model_is_the_weather_of_the_record(session: Session) -> None:
    build = BUILDS[session.slug]
    assert build.dyno is not None
    specs = {f"dyno/{spec.file}": spec for spec in session.pulls}
    for pull in build.pulls:
        spec = specs[str(pull.file)]
        air = pull.conditions or build.dyno.conditions
        assert air is not None
        assert air.barometer is not None
        assert air.temperature is not None
        station = air.barometer.si
        if air.barometer_is == "sea level":
            assert air.altitude is not None
            station *= math.exp(-air.altitude.si / 8434)  # scale height of the standard atmosphere at sea level
        assert spec.weather.barometer == pytest.approx(station, abs=60)
        assert spec.weather.kelvin == pytest.approx(air.temperature.si, abs=0.1)
        vapor = _vapor_pressure(air)
        assert spec.weather.vapor_pressure == pytest.approx(vapor, rel=0.03)
        corrected = (pull.readings or build.dyno.readings) != "observed"
        assert (spec.to is not None) == corrected


def _vapor_pressure(air: object) -> float:
    """Vapor pressure [Pa] however the shop took it, by the Magnus formula (WMO No. 8, from memory)."""

    def saturated(kelvin: float) -> float:
        return 611.2 * math.exp(17.62 * (kelvin - 273.15) / (kelvin - 30.03))

    temperature = air.temperature.si  # type: ignore[attr-defined]
    if air.relative_humidity is not None:  # type: ignore[attr-defined]
        return air.relative_humidity.si * saturated(temperature)  # type: ignore[attr-defined, no-any-return]
    if air.dew_point is not None:  # type: ignore[attr-defined]
        return saturated(air.dew_point.si)  # type: ignore[attr-defined]
    if air.wet_bulb is not None:  # type: ignore[attr-defined]
        wet, pressure = air.wet_bulb.si, air.barometer.si  # type: ignore[attr-defined]
        return saturated(wet) - 6.62e-4 * pressure * (temperature - wet)
    return air.vapor_pressure.si  # type: ignore[attr-defined, no-any-return]
