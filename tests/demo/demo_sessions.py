"""The dyno sessions of the demonstration archive, in the order in which the shop ran them."""

from __future__ import annotations

from demo_engine import PETROL, RACE_PETROL, Engine, Noise, Tune, Weather
from demo_logs import Column, Dialect
from demo_specs import PullSpec, Session, din_70020, sae_j607

INCH_OF_MERCURY = 3386.389


def _fahrenheit(value: float) -> float:
    return (value - 32) / 1.8


def _inch(barometer: float, fahrenheit: float, humidity: float) -> Weather:
    return Weather(barometer * INCH_OF_MERCURY, _fahrenheit(fahrenheit), humidity)


def _hecto(barometer: float, celsius: float, humidity: float) -> Weather:
    return Weather(barometer * 100, celsius, humidity)


SIDECAR = Session(
    slug="grasstrack-sidecar-twin",
    engine=Engine(
        653.9e-6, 0.082, 2, 10.56, RACE_PETROL, 0.985, 5600, fall_below=0.75, fall_above=0.95, tuning=0.02,
        best_spark=35, water_cooled=False,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Speed", "1/min", 0),
            Column("torque", "Torque", "kgf m", 2),
            Column("power", "Power", "PS", 1),
        ),
        delimiter="\t",
        encoding="cp1252",
        newline="\r\n",
        before=("Hired brake, field 3", "Corrected to DIN 70020 at 14 °C and 1006 mbar", ""),
        counter="Line",
    ),
    noise=Noise(0.0055, 0.003),
    pulls=(
        PullSpec("1.txt", 3000, 7000, 100, _hecto(1006, 14, 0.71), Tune(0.80, spark=35), to=din_70020),
        PullSpec("2.txt", 3000, 7000, 100, _hecto(1006, 14, 0.71), Tune(0.875, spark=35), to=din_70020),
        PullSpec("3.txt", 3000, 7000, 100, _hecto(1006, 14, 0.71),
                 Tune(0.88, spark=35, ve_shift=350, ve_scale=1.018), to=din_70020),
        PullSpec("4.txt", 3000, 7000, 100, _hecto(1006, 14, 0.71),
                 Tune(0.88, spark=35, ve_shift=350, ve_scale=1.018), to=din_70020),
    ),
)  # fmt: skip

_TRUCK_ONE = _inch(29.68, 66, 0.66)
_TRUCK_AS_DELIVERED = Tune(0.875, lam_slope=-0.01, spark=34)
TRUCK = Session(
    slug="breakdown-truck-v8",
    engine=Engine(
        5937e-6, 0.09017, 8, 9.6, PETROL, 0.965, 3400, fall_below=0.22, fall_above=0.62, best_spark=34.5,
        exhaust_base=610, oil_relief=4.1e5, oil_per_speed=110,
        exhaust_offsets=(4, -9, 7, -3, 12, -14, 6, -2),
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "rpm", 0),
            Column("torque", "Torque", "lb-ft", 1),
            Column("power", "Power", "hp", 1),
            Column("fuel_flow", "Fuel flow", "lb/h", 1),
            Column("air_flow_volume", "Air flow", "cfm", 1),
            Column("afr", "AFR", "AFR", 2),
            Column("oil_pressure", "Oil pressure", "psi", 1),
            Column("oil_temperature", "Oil temp", "degF", 0),
            Column("coolant_temperature", "Water temp", "degF", 0),
            Column("manifold_pressure", "MAP", "inHg", 2),
            Column("blow_by", "Blow-by", "cfm", 2),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degF", 0) for i in range(1, 9)),
        ),
        units_in="row",
    ),
    pulls=(
        PullSpec("00-before.csv", 1800, 4800, 100, _inch(29.41, 51, 0.78),
                 Tune(0.86, spark=32, ve_scale=0.855, ve_shift=-350, friction=1.12), to=sae_j607),
        PullSpec("01-first.csv", 1800, 5400, 100, _TRUCK_ONE, Tune(0.955, lam_slope=0.02, spark=32)),
        PullSpec("02-72-primary.csv", 1800, 5400, 100, _TRUCK_ONE, Tune(0.875, lam_slope=-0.01, spark=32), warm=2),
        PullSpec("03-72-primary-again.csv", 1800, 5400, 100, _inch(29.67, 68, 0.64),
                 Tune(0.875, lam_slope=-0.01, spark=32), warm=3),
        PullSpec("04-72-primary-third.csv", 1800, 5400, 100, _inch(29.67, 69, 0.60),
                 Tune(0.875, lam_slope=-0.01, spark=32), warm=4),
        PullSpec("05-spacer.csv", 1800, 5400, 100, _inch(29.66, 70, 0.60),
                 Tune(0.875, lam_slope=-0.01, spark=32, ve_shift=260, ve_scale=1.006), warm=5),
        PullSpec("06-plug-lead.csv", 1800, 5400, 100, _inch(29.66, 70, 0.60),
                 Tune(0.875, lam_slope=-0.01, spark=32, misfire_above=4100), warm=6),
        PullSpec("07-as-delivered.csv", 1800, 5400, 100, _inch(29.65, 71, 0.57), _TRUCK_AS_DELIVERED, warm=5),
    ),
)  # fmt: skip

_LAUNCH_JETS = {"120": Tune(0.965, lam_slope=0.02, spark=30), "125": Tune(0.925, lam_slope=0.015, spark=30)}
_LAUNCH_130 = Tune(0.875, lam_slope=0.01, spark=30)
LAUNCH = Session(
    slug="pilot-launch-four",
    engine=Engine(
        1619.5e-6, 0.0776, 4, 9.05, PETROL, 0.895, 3300, fall_below=0.22, fall_above=0.55, best_spark=30.5,
        exhaust_base=615, oil_relief=4.4e5, exhaust_offsets=(6, -4, 9, -11),
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "1/min", 0),
            Column("torque", "Torque", "N m", 1),
            Column("power", "Power", "kW", 2),
            Column("fuel_flow", "Fuel flow", "kg/h", 2),
            Column("lambda", "Lambda", "", 3),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            Column("oil_temperature", "Oil temperature", "°C", 0),
            Column("coolant_temperature", "Coolant temperature", "°C", 0),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "°C", 0) for i in range(1, 5)),
        ),
        delimiter=";",
        decimal=",",
        newline="\r\n",
        encoding="utf-8-sig",
    ),
    pulls=(
        PullSpec("01-jets-120.csv", 1600, 5400, 100, _hecto(1012.4, 18.5, 0.64), _LAUNCH_JETS["120"]),
        PullSpec("02-jets-125.csv", 1600, 5400, 100, _hecto(1012.4, 18.5, 0.64), _LAUNCH_JETS["125"], warm=1),
        PullSpec("03-jets-130.csv", 1600, 5400, 100, _hecto(1012.4, 19.5, 0.61), _LAUNCH_130, warm=2),
        PullSpec("04-jets-130-again.csv", 1600, 5400, 100, _hecto(1012.2, 19.8, 0.60), _LAUNCH_130, warm=3),
        *(
            PullSpec(f"{number:02}-timing-{spark}.csv", 1600, 5400, 100, weather,
                     Tune(0.875, lam_slope=0.01, spark=spark), warm=4)
            for number, spark, weather in (
                (5, 24, _hecto(1011.9, 20.4, 0.58)),
                (6, 27, _hecto(1011.9, 20.6, 0.58)),
                (7, 30, _hecto(1011.8, 20.7, 0.57)),
                (8, 33, _hecto(1011.8, 20.9, 0.57)),
            )
        ),
        PullSpec("09-as-delivered.csv", 1600, 5400, 100, _hecto(1011.6, 21.0, 0.57),
                 Tune(0.875, lam_slope=0.01, spark=30, ve_scale=0.994), warm=4),
    ),
)  # fmt: skip

SESSIONS = (SIDECAR, TRUCK, LAUNCH)
