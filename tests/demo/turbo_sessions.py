"""Dyno sessions of the demonstration archive: the turbocharged fours."""

from __future__ import annotations

from tests.demo.engine_model import E85, RACE_PETROL, Engine, Noise, Tune
from tests.demo.engine_specs import PullSpec, Session, hecto
from tests.demo.logs import Column, Dialect

_OFFSETS = (8, -6, 11, -9)
_SEPTEMBER = hecto(1009.4, 21, 0.44)

CIRCUIT_TURBO = Session(
    slug="circuit-turbo-four",
    engine=Engine(
        1998.1e-6,
        0.087,
        4,
        9.13,
        RACE_PETROL,
        1.00,
        4900,
        fall_below=0.35,
        fall_above=0.85,
        tuning=0.01,
        best_lambda=0.86,
        best_spark=24,
        boost=0.85e5,
        boost_speed=3600,
        charge_temperature=316,
        exhaust_base=760,
        exhaust_offsets=_OFFSETS,
        oil_per_speed=110,
        oil_relief=5.6e5,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Drehzahl", "1/min", 0),
            Column("torque", "Drehmoment", "Nm", 1),
            Column("power", "Leistung", "kW", 1),
            Column("lambda", "Lambda", "", 3),
            Column("boost_pressure", "Ladedruck", "mbar", 0),
            Column("oil_pressure", "Öldruck", "bar", 2),
            Column("oil_temperature", "Öltemperatur", "°C", 0),
        ),
        delimiter=";",
        decimal=",",
        encoding="cp1252",
        newline="\r\n",
        units_in="row",
        before=("Prüfstand 3", "Motor;2,0 l Turbo"),
    ),
    noise=Noise(0.004, 0.0018),
    pulls=(
        PullSpec("lauf-1.csv", 2500, 7200, 100, _SEPTEMBER, Tune(0.80, spark=22)),
        PullSpec("lauf-2.csv", 2500, 7200, 100, _SEPTEMBER, Tune(0.84, spark=22), warm=2),
        PullSpec("lauf-3.csv", 2500, 7200, 100, _SEPTEMBER, Tune(0.84, spark=24), warm=3),
        PullSpec("lauf-4.csv", 2500, 7200, 100, _SEPTEMBER, Tune(0.84, spark=24), warm=4),
    ),
)

_FEBRUARY = hecto(1014.2, 16, 0.51)

RALLY_TURBO = Session(
    slug="rally-e85-turbo-four",
    engine=Engine(
        1998.3e-6,
        0.087,
        4,
        10.29,
        E85,
        0.96,
        4700,
        fall_below=0.35,
        fall_above=0.50,
        tuning=0.01,
        efficiency=0.775,
        best_lambda=0.86,
        best_spark=26,
        boost=1.45e5,
        boost_speed=3300,
        charge_temperature=313,
        restrictor=0.034,
        exhaust_base=690,
        exhaust_offsets=_OFFSETS,
        oil_per_speed=115,
        oil_relief=5.8e5,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "rpm", 0),
            Column("torque", "Torque", "Nm", 1),
            Column("fuel_flow", "Fuel flow", "kg/h", 1),
            Column("lambda", "Lambda", "", 3),
            Column("boost_pressure", "Boost", "kPa", 1),
            Column("charge_temperature", "Charge temp", "degC", 0),
            Column("spark_advance", "Spark advance", "deg", 1),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            Column("oil_temperature", "Oil temp", "degC", 0),
            Column("coolant_temperature", "Water temp", "degC", 0),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degC", 0) for i in range(1, 5)),
        ),
        delimiter=";",
    ),
    noise=Noise(0.003, 0.0013),
    pulls=(
        PullSpec("map-11.csv", 2400, 7000, 100, _FEBRUARY, Tune(0.80, spark=23)),
        PullSpec("map-12.csv", 2400, 7000, 100, _FEBRUARY, Tune(0.845, spark=23), warm=2),
        PullSpec("map-14.csv", 2400, 7000, 100, _FEBRUARY, Tune(0.845, spark=25.5), warm=3),
        PullSpec("map-14-again.csv", 2400, 7000, 100, _FEBRUARY, Tune(0.845, spark=25.5), warm=4),
        PullSpec("map-14-third.csv", 2400, 7000, 100, _FEBRUARY, Tune(0.845, spark=25.5), warm=4),
    ),
)
