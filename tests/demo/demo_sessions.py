"""The dyno sessions of the demonstration archive, in the order in which the shop ran them."""

from __future__ import annotations

from demo_engine import DIESEL, E85, LPG, METHANOL, PETROL, RACE_PETROL, Engine, Noise, Tune, Weather
from demo_logs import Column, Dialect
from demo_specs import PullSpec, Session, Sweep, din_70020, sae_j607

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

_HILL = _inch(30.06, 61, 0.62)
CLIMB = Session(
    slug="climb-special-six",
    engine=Engine(
        4138e-6,
        0.1016,
        6,
        10.15,
        RACE_PETROL,
        0.935,
        3300,
        fall_below=0.30,
        fall_above=0.75,
        tuning=0.018,
        best_spark=32,
    ),
    dialect=Dialect((Column("engine_speed", "rpm", "rpm", 0), Column("power", "power", "hp", 1)), units_in="nowhere"),
    noise=Noise(0.006, 0.003),
    pulls=(
        PullSpec("first.csv", 2000, 5000, 100, _HILL, Tune(0.97, lam_slope=0.02, spark=32)),
        PullSpec("needles.csv", 2000, 5000, 100, _HILL, Tune(0.885, spark=32)),
        PullSpec("trumpets.csv", 2000, 5000, 100, _HILL, Tune(0.89, spark=32, ve_shift=180, ve_scale=1.022)),
    ),
)

_LAKE = _hecto(1018, 17, 0.58)
_PIPES = (("c", 860, -330, 0.994), ("d", 850, -120, 1.0), ("e", 840, 90, 1.0), ("f", 830, 300, 0.988))
HYDROPLANE = Session(
    slug="hydroplane-two-stroke",
    engine=Engine(
        249.7e-6,
        0.0545,
        2,
        8.4,
        RACE_PETROL,
        0.93,
        9500,
        fall_below=2.3,
        fall_above=4.2,
        tuning=0.02,
        efficiency=0.70,
        best_spark=24,
        two_stroke=True,
        trapping=0.83,
        exhaust_base=480,
        exhaust_offsets=(0, 9),
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "RPM", "1/min", 0),
            Column("torque", "Torque", "Nm", 2),
            Column("power", "Power", "kW", 2),
            Column("exhaust_temperature_1", "EGT 1", "degC", 0),
            Column("exhaust_temperature_2", "EGT 2", "degC", 0),
        ),
        delimiter="\t",
        encoding="utf-16",
        newline="\r\n",
        units_in="row",
        quoted=True,
    ),
    noise=Noise(0.005, 0.003),
    pulls=(
        PullSpec("a-baseline.csv", 7000, 11000, 100, _LAKE, Tune(0.80, spark=24, ve_shift=-120)),
        PullSpec("b-jets-210.csv", 7000, 11000, 100, _LAKE, Tune(0.86, spark=24, ve_shift=-120)),
        *(
            PullSpec(
                f"{letter}-pipe-{length}.csv",
                7000,
                11000,
                100,
                _LAKE,
                Tune(0.86, spark=24, ve_shift=shift, ve_scale=scale),
            )
            for letter, length, shift, scale in _PIPES
        ),
    ),
)

_TRACK = _hecto(1010.8, 16, 0.55)  # the report's 1021 at sea level, 85 m up
METHANOL_SINGLE = Session(
    slug="methanol-speed-single",
    engine=Engine(
        498.8e-6,
        0.082,
        1,
        13.8,
        METHANOL,
        1.03,
        7200,
        fall_below=0.75,
        fall_above=0.95,
        tuning=0.02,
        efficiency=0.755,
        best_lambda=0.82,
        best_spark=32,
        water_cooled=False,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "1/min", 0),
            Column("torque", "Torque", "N m", 2),
            Column("lambda", "Lambda", "", 3),
        ),
        delimiter=";",
        before=("Test;long track single", "Fuel;methanol"),
    ),
    noise=Noise(0.006, 0.004),
    pulls=(
        PullSpec("1-jet-195.csv", 5000, 10000, 100, _TRACK, Tune(0.93, spark=32)),
        PullSpec("2-jet-205.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
        PullSpec("3-jet-215.csv", 5000, 10000, 100, _TRACK, Tune(0.755, spark=32)),
        PullSpec("4-jet-205-again.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
        PullSpec("5-jet-205-third.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
        PullSpec("6-jet-205-fourth.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
    ),
)

_QUAY = _hecto(1004.8, 15.5, 0.76)
DIESEL_FOUR = Session(
    slug="workboat-diesel-four",
    engine=Engine(
        3252e-6,
        0.110,
        4,
        17.0,
        DIESEL,
        0.905,
        1650,
        fall_below=0.22,
        fall_above=0.30,
        tuning=0.008,
        efficiency=0.745,
        compression_ignition=True,
        exhaust_base=330,
        exhaust_offsets=(3, -6, 8, -4),
        oil_per_speed=170,
        oil_relief=4.6e5,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "1/min", 0),
            Column("torque", "Torque", "N m", 1),
            Column("power", "Power", "kW", 2),
            Column("fuel_flow", "Fuel flow", "kg/h", 2),
            Column("air_flow", "Air mass flow", "kg/h", 1),
            Column("lambda", "Lambda", "", 2),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            Column("oil_temperature", "Oil temperature", "degC", 0),
            Column("coolant_temperature", "Water temperature", "degC", 0),
            Column("blow_by", "Blow-by", "l/min", 1),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degC", 0) for i in range(1, 5)),
        ),
        delimiter=";",
        decimal=",",
        units_in="row",
    ),
    noise=Noise(0.003, 0.0015),
    pulls=(
        PullSpec("01-pump-as-came.csv", 900, 2500, 50, _QUAY, Tune(1.24, lam_slope=0.05, work=0.985)),
        PullSpec("02-fuel-down.csv", 900, 2500, 50, _QUAY, Tune(1.38, lam_slope=0.05, work=1.0)),
        PullSpec("03-inj-14.csv", 900, 2500, 50, _QUAY, Tune(1.38, lam_slope=0.05, work=0.982), warm=1),
        PullSpec("04-inj-16.csv", 900, 2500, 50, _QUAY, Tune(1.38, lam_slope=0.05, work=1.0), warm=2),
        PullSpec("05-inj-18.csv", 900, 2500, 50, _QUAY, Tune(1.38, lam_slope=0.05, work=0.992), warm=3),
        PullSpec("06-as-delivered.csv", 900, 2500, 50, _QUAY, Tune(1.38, lam_slope=0.05, work=1.0), warm=2),
    ),
)

_PATROL = _inch(29.92, 70, 0.568)
OFFSHORE = Session(
    slug="offshore-v8",
    engine=Engine(
        7660e-6,
        0.10312,
        8,
        9.97,
        PETROL,
        1.0,
        4100,
        fall_below=0.32,
        fall_above=0.75,
        tuning=0.014,
        efficiency=0.75,
        best_spark=31,
        exhaust_base=640,
        exhaust_offsets=(5, -8, 3, -11, 9, 14, -6, -4),
        oil_per_speed=125,
        oil_relief=4.6e5,
        intake_loss=3.2e3,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "RPM", "rpm", 0),
            Column("torque", "Torque", "lb-ft", 1),
            Column("power", "Power", "hp", 1),
            Column("fuel_flow", "Fuel", "lb/h", 1),
            Column("air_flow_volume", "Air", "cfm", 1),
            Column("lambda", "Lambda", "", 3),
            Column("spark_advance", "Spark", "deg", 1),
            Column("manifold_pressure", "MAP", "kPa", 1),
            Column("oil_pressure", "Oil pressure", "psi", 1),
            Column("oil_temperature", "Oil temp", "degF", 0),
            Column("coolant_temperature", "Coolant temp", "degF", 0),
            Column("blow_by", "Blow-by", "cfm", 2),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degF", 0) for i in range(1, 9)),
        ),
        before=("# patrol boat Brent, second engine", "# all readings observed"),
    ),
    noise=Noise(0.003, 0.0015),
    pulls=(
        PullSpec("1-base-map.csv", 2500, 5800, 100, _PATROL, Tune(0.855, lam_slope=-0.03, spark=28)),
        PullSpec("2-map-2.csv", 2500, 5800, 100, _PATROL, Tune(0.86, spark=28), warm=1),
        PullSpec("3-map-3.csv", 2500, 5800, 100, _PATROL, Tune(0.86, spark=30), warm=2),
        PullSpec("4-map-3-again.csv", 2500, 5800, 100, _inch(29.91, 73, 0.513), Tune(0.86, spark=30), warm=3),
    ),
)

_AUTUMN = _inch(29.34, 58, 0.70)
GENERATOR = Session(
    slug="generator-gas-six",
    engine=Engine(
        4127e-6,
        0.1016,
        6,
        9.1,
        LPG,
        0.78,
        1900,
        fall_below=0.18,
        fall_above=0.5,
        efficiency=0.745,
        best_lambda=0.97,
        best_spark=29,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Speed", "rpm", 0),
            Column("torque", "Torque", "lb-ft", 1),
            Column("fuel_flow", "Fuel", "lb/h", 2),
            Column("lambda", "Lambda", "", 3),
        ),
    ),
    pulls=(
        PullSpec("mixer-1.csv", 900, 2600, 100, _AUTUMN, Tune(0.86, spark=22)),
        PullSpec("mixer-2.csv", 900, 2600, 100, _AUTUMN, Tune(0.96, spark=22)),
        PullSpec("timing-28.csv", 900, 2600, 100, _AUTUMN, Tune(0.96, spark=28)),
    ),
)

_SPRINT = _hecto(1019.6, 17, 0.49)
E85_FOUR = Session(
    slug="sprint-e85-four",
    engine=Engine(
        1998.6e-6,
        0.086,
        4,
        12.56,
        E85,
        1.055,
        6200,
        fall_below=0.50,
        fall_above=0.95,
        tuning=0.016,
        efficiency=0.728,
        best_lambda=0.86,
        best_spark=31,
        exhaust_base=560,
        exhaust_offsets=(4, -7, 6, -5),
        oil_per_speed=70,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "rpm", 0),
            Column("torque", "Torque", "Nm", 1),
            Column("power", "Power", "kW", 1),
            Column("fuel_flow", "Fuel flow", "kg/h", 2),
            Column("lambda", "Lambda", "", 3),
            Column("spark_advance", "Spark advance", "deg", 1),
            Column("manifold_pressure", "MAP", "kPa", 1),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degC", 0) for i in range(1, 5)),
        ),
    ),
    noise=Noise(0.003, 0.0012),
    pulls=(
        *(
            PullSpec(f"fuel-{level:03}.csv", 2500, 7700, 100, _SPRINT, Tune(round(90 / level, 4), spark=28), warm=2)
            for level in (96, 100, 104, 108, 112)
        ),
        PullSpec("as-delivered.csv", 2500, 7700, 100, _SPRINT, Tune(0.857, spark=30), warm=3),
    ),
)

_SPRING = _hecto(1016.3, 18, 0.52)
_LOGGER = Sweep(every=0.1, rise=350, inertia=0.31)
ROADSTER = Session(
    slug="roadster-six",
    engine=Engine(
        2793.6e-6,
        0.084,
        6,
        10.41,
        PETROL,
        0.92,
        4000,
        fall_below=0.26,
        fall_above=0.62,
        tuning=0.014,
        best_spark=32,
        oil_per_speed=85,
        intake_loss=4.0e3,
    ),
    dialect=Dialect(
        (
            Column("time", "Time", "s", 1),
            Column("engine_speed", "RPM calc", "", 0),
            Column("torque", "TQ2", "N m", 1),
            Column("lambda", "Lambda", "", 3),
            Column("manifold_pressure", "MAP", "kPa", 1),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            Column("oil_temperature", "Oil temp", "degC", 0),
            Column("coolant_temperature", "Water temp", "degC", 0),
        ),
    ),
    noise=Noise(0.006, 0.002),
    pulls=(
        PullSpec("sweep-1.csv", 1600, 6500, 100, _SPRING, Tune(0.885, spark=31), sweep=_LOGGER),
        PullSpec("sweep-2.csv", 1600, 6500, 100, _SPRING, Tune(0.885, spark=31), sweep=_LOGGER, warm=2),
        PullSpec(
            "sweep-3-no-filter.csv",
            1600,
            6500,
            100,
            _SPRING,
            Tune(0.885, spark=31, ve_scale=1.006),
            sweep=_LOGGER,
            warm=3,
        ),
    ),
)

SESSIONS = (
    CLIMB, SIDECAR, HYDROPLANE, METHANOL_SINGLE, DIESEL_FOUR, OFFSHORE, GENERATOR, E85_FOUR, TRUCK, LAUNCH, ROADSTER,
)  # fmt: skip
