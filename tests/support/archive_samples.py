"""Archives for tests: invented engines whose output follows from their size, breathing and speed, plus noise."""

from __future__ import annotations

import math
import random

import numpy as np

from builder.archive.summary import PartSummary, Summary, coarse_curve

# family, cylinders, bore [mm], stroke [mm], mean piston speed at peak power [m/s], bmep [kPa]
_FAMILIES = (
    ("Corran small block V8", 8, 101.6, 88.4, 18.0, 1180.0),
    ("Corran big block V8", 8, 109.2, 101.6, 17.0, 1120.0),
    ("Tarn slant six", 6, 88.9, 104.8, 14.5, 1020.0),
    ("Ambleside twin-cam four", 4, 86.0, 86.0, 19.0, 1230.0),
    ("Skerry marine six", 6, 104.0, 118.0, 11.0, 980.0),
    ("Kelda parallel twin", 2, 76.0, 72.0, 16.0, 1050.0),
    ("Harrow speedway single", 1, 84.0, 90.0, 18.5, 1260.0),
    ("Fellside flat four", 4, 92.0, 79.0, 15.5, 1060.0),
)
_FUELS = (("gasoline", 1.0), ("E85", 1.05), ("methanol", 1.10))
_PURPOSES = ("road", "marine", "vintage racing", "circuit racing", "hill climb")
_MAKERS = ("Brackwater", "Orrin & Vale", "Penhallow", "Stavely", "Thrupp")


def invented_engine(i: int, rng: random.Random, *, sparse: float = 0.1) -> Summary:
    """Return an invented engine; of what may be missing a share `sparse` is."""
    family, cylinders, bore, stroke, piston_speed, bmep = rng.choice(_FAMILIES)
    bore = (bore + rng.choice((0.0, 0.25, 0.5, 0.76, 1.02))) * 1e-3
    stroke = (stroke + rng.choice((0.0, 0.0, 3.2, 6.4))) * 1e-3
    fuel, gain = rng.choices(_FUELS, weights=(8, 2, 1))[0]
    induction = rng.choices(("naturally aspirated", "turbocharged", "supercharged"), weights=(12, 2, 1))[0]
    tune = rng.gauss(0.0, 1.0)
    ratio = min(14.5, max(7.5, 10.2 + 0.9 * tune + (2.0 if fuel == "methanol" else 0.0) + rng.gauss(0, 0.3)))
    if induction != "naturally aspirated":
        ratio -= 1.6
    boost = {"naturally aspirated": 1.0, "turbocharged": 1.55, "supercharged": 1.4}[induction]
    duration = 226.0 + 12.0 * tune + rng.gauss(0, 2.5)
    displacement = math.pi / 4 * bore**2 * stroke * cylinders
    bmep = bmep * 1e3 * gain * boost * (1 + 0.04 * tune + 0.02 * (ratio - 10)) * math.exp(rng.gauss(0, 0.025))
    peak_torque = bmep * displacement / (4 * math.pi)
    power_speed = piston_speed * (1 + 0.06 * tune) / (2 * stroke) * math.exp(rng.gauss(0, 0.02))
    torque_speed = 0.74 * power_speed
    n = np.arange(0.42 * power_speed, 1.1 * power_speed, 50 / 60)
    torque = peak_torque * (1 - 0.9 * ((n - torque_speed) / power_speed) ** 2)
    peak_power = float((2 * math.pi * n * torque).max())
    at_power = float(n[(n * torque).argmax()])
    year = 1994 + rng.randrange(32)
    values: dict[str, object] = {
        "purpose": rng.choice(_PURPOSES),
        "cycle": "four-stroke",
        "cylinders": cylinders,
        "displacement": displacement,
        "bore": bore,
        "stroke": stroke,
        "compression_ratio": ratio,
        "effective_compression_ratio": ratio * 0.76,
        "intake_duration_050": duration,
        "exhaust_duration_050": duration + 6.0,
        "lobe_separation": 110.0 - 1.5 * tune,
        "cam_advance": rng.choice((-2.0, 0.0, 2.0, 4.0)),
        "valve_lift": 0.0115 + 0.0008 * tune,
        "head_flow": 0.5 * displacement / cylinders * (210 + 10 * tune),
        "valve_diameter": 0.49 * bore,
        "induction": induction,
        "fuel_system": rng.choice(("carburetor", "port injection")),
        "fuel": fuel,
        "ignition": rng.choice(("distributor", "coils", "magneto")),
    }
    # Drawn apart, so that the other values of the sample stay as they are.
    extra = random.Random(i * 1009 + cylinders)
    optional: dict[str, object] = {
        "manifold": extra.choice(("single plane", "dual plane", "plenum")),
        "rated_flow": displacement * extra.uniform(45.0, 75.0),
        "primary_diameter": bore * extra.uniform(0.38, 0.46),
        "ignition_system": extra.choice(("points distributor", "coil on plug")),
    }
    dyno = {
        "peak_torque": peak_torque,
        "peak_torque_speed": torque_speed,
        "peak_power": peak_power,
        "peak_power_speed": at_power,
        "bmep": bmep,
        "specific_power": peak_power / displacement,
        "piston_speed_at_peak_power": 2 * stroke * at_power,
        "curve": coarse_curve(n, torque),
    }
    keep = {k: v for k, v in values.items() if rng.random() >= sparse or k == "displacement"}
    keep |= {name: value for name, value in optional.items() if extra.random() >= 0.5}
    if rng.random() >= sparse:
        keep |= dyno
    maker = rng.choice(_MAKERS)
    parts = tuple(
        PartSummary(
            rng.choice((maker, rng.choice(_MAKERS))),
            f"{kind[:2].upper()}-{rng.randrange(100, 140)}",
            kind,
            rng.choice((None, "as listed", "as listed", "measured short")),
        )
        for kind in ("pistons", "rods", "camshaft", "bearings")
    )
    return Summary(
        slug=f"{family.split()[0].lower()}-{i:05d}",
        title=f"{family}, {displacement * 1e6:.0f} cc for {keep.get('purpose', 'the shelf')}",
        number=f"B{year % 100:02d}-{i:04d}",
        date=f"{year}-{rng.randrange(1, 13):02d}-{rng.randrange(1, 29):02d}",
        year=year,
        family=family,
        parts=parts,
        words="Bored and honed with a torque plate, crank balanced, heads reworked on the bench. " * 2,
        **keep,  # type: ignore[arg-type]
    )


def invented_archive(count: int, seed: int = 7, *, sparse: float = 0.1) -> tuple[Summary, ...]:
    """Return `count` invented engines, always the same for one seed."""
    rng = random.Random(seed)
    return tuple(invented_engine(i, rng, sparse=sparse) for i in range(count))
