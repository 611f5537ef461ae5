"""What a dyno can log: each channel's name, its SI unit, the header words and the unit spellings it goes by.

The vocabulary is closed on purpose. A unit that is not in it is reported, not guessed: "gal/h" may be US or
imperial, and nothing in a log says which. The spellings lead to names that pint knows; the factors are pint's.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from builder.record.quantities.units import registry

CYLINDERS = 16


@dataclass(frozen=True, slots=True)
class Channel:
    """One thing a dyno logs.

    `words` are the header words (see `normal_words`) that mean this channel. `assumed` is the unit taken where
    the log gives none, only for channels that have but one usual unit. `low..high` in SI is what a real engine
    on a real dyno can show: outside it is a warning, not an error.
    """

    slug: str
    title: str
    dimension: str
    si_unit: str
    words: tuple[str, ...]
    low: float
    high: float
    assumed: str | None = None


_EXHAUST_WORDS = ("egt", "exhaust temp", "exhaust temperature", "exh temp", "exhaust gas temp",
                  "exhaust gas temperature", "exh gas temp", "exhaust")  # fmt: skip
_FUEL_WORDS = ("fuel flow", "fuel", "fuel rate", "fuel flow rate", "fuel mass flow", "fuel consumption",
               "fuel volume flow", "fuel flow total", "total fuel flow", "total fuel")  # fmt: skip
_AIR_WORDS = ("air flow", "airflow", "air", "air flow rate", "air mass flow", "mass air flow", "maf",
              "air volume flow", "intake air flow", "inlet air flow")  # fmt: skip

_CHANNELS = (
    Channel("time", "Time", "time", "s", ("time", "elapsed time", "test time", "log time", "elapsed", "t"),
            -1.0, 1e6),
    Channel("engine_speed", "Engine speed", "speed", "rev/s",
            ("engine speed", "speed", "rpm", "engine rpm", "revs", "eng speed", "eng rpm", "crank speed",
             "crankshaft speed", "engine revs", "rotational speed", "n"), 0.0, 500.0),
    Channel("torque", "Torque", "torque", "N m",
            ("torque", "engine torque", "brake torque", "tq", "trq", "torq", "flywheel torque", "crank torque",
             "crankshaft torque", "eng torque", "m"), -5e3, 20e3),
    Channel("power", "Power", "power", "W",
            ("power", "engine power", "brake power", "pwr", "flywheel power", "crank power", "horsepower",
             "brake horsepower", "eng power", "p"), -1e6, 15e6),
    Channel("fuel_flow", "Fuel flow", "mass_flow", "kg/s", _FUEL_WORDS, 0.0, 2.0),
    Channel("fuel_flow_volume", "Fuel flow by volume", "volume_flow", "m3/s", _FUEL_WORDS, 0.0, 3e-3),
    Channel("air_flow", "Air flow", "mass_flow", "kg/s", _AIR_WORDS, 0.0, 20.0),
    Channel("air_flow_volume", "Air flow by volume", "volume_flow", "m3/s", _AIR_WORDS, 0.0, 20.0),
    Channel("afr", "Air-fuel ratio", "afr", "1",
            ("afr", "air fuel ratio", "air fuel", "a f", "a f ratio", "air to fuel ratio", "wideband afr"),
            3.0, 100.0, assumed="1"),
    Channel("lambda", "Lambda", "lambda", "1", ("lambda", "λ", "wideband lambda", "excess air ratio"),
            0.3, 5.0, assumed="1"),
    Channel("spark_advance", "Spark advance", "angle", "deg",
            ("spark advance", "spark", "ignition advance", "ignition timing", "ign advance", "ign timing",
             "timing", "spark timing", "total advance", "total timing", "advance"), -30.0, 80.0, assumed="deg"),
    Channel("oil_pressure", "Oil pressure", "pressure", "Pa",
            ("oil pressure", "oil press", "oil p", "eng oil pressure", "engine oil pressure", "main oil pressure"),
            -5e4, 3e6),
    Channel("fuel_pressure", "Fuel pressure", "pressure", "Pa", ("fuel pressure", "fuel press", "fuel p"),
            -5e4, 5e8),
    Channel("oil_temperature", "Oil temperature", "temperature", "K",
            ("oil temperature", "oil temp", "oil t", "engine oil temp", "engine oil temperature", "sump temp"),
            230.0, 480.0),
    Channel("coolant_temperature", "Coolant temperature", "temperature", "K",
            ("coolant temperature", "coolant temp", "water temp", "water temperature", "clt", "ect",
             "engine coolant temp", "engine coolant temperature", "coolant out temp", "water out temp"),
            230.0, 430.0),
    Channel("exhaust_temperature", "Exhaust temperature", "temperature", "K", _EXHAUST_WORDS, 230.0, 1500.0),
    *(Channel(f"exhaust_temperature_{i}", f"Exhaust temperature, cylinder {i}", "temperature", "K", (),
              230.0, 1500.0) for i in range(1, CYLINDERS + 1)),
    Channel("manifold_pressure", "Manifold pressure, absolute", "absolute_pressure", "Pa",
            ("manifold pressure", "map", "manifold absolute pressure", "intake manifold pressure",
             "manifold press", "inlet manifold pressure", "manifold abs pressure"), 5e3, 8e5),
    Channel("boost_pressure", "Boost above the air outside", "gauge_pressure", "Pa",
            ("boost", "boost pressure", "manifold gauge pressure"), -1e5, 7e5),
    Channel("blow_by", "Blow-by", "volume_flow", "m3/s",
            ("blow by", "blowby", "crankcase blow by", "crankcase flow", "blow by flow"), 0.0, 0.05),
    Channel("barometer", "Barometer", "absolute_pressure", "Pa",
            ("barometer", "baro", "barometric pressure", "baro pressure", "baro press", "ambient pressure",
             "atmospheric pressure", "station pressure"), 5e4, 1.1e5),
    Channel("air_temperature", "Air temperature", "temperature", "K",
            ("air temperature", "air temp", "intake air temp", "intake air temperature", "iat",
             "inlet air temp", "inlet air temperature", "ambient temp", "ambient temperature", "inlet temp",
             "intake temp", "ambient air temp", "ambient air temperature"), 230.0, 370.0),
    Channel("relative_humidity", "Relative humidity", "fraction", "1",
            ("relative humidity", "humidity", "rh", "rel humidity", "rel hum"), 0.0, 1.0),
    Channel("throttle", "Throttle", "fraction", "1",
            ("throttle", "throttle position", "tps", "throttle opening"), -0.1, 1.1),
    Channel("injector_pulse", "Injector pulse", "time", "s",
            ("injector pulse", "injector pulse width", "injection pulse width", "injection time", "pulse width",
             "inj pulse width", "inj pw", "fuel pulse width", "injector on time"), 0.0, 0.1),
)  # fmt: skip

CHANNELS: Mapping[str, Channel] = {channel.slug: channel for channel in _CHANNELS}
"""Every channel by its slug, in the order in which a page would list them."""

DIMENSIONS = tuple(dict.fromkeys(channel.dimension for channel in _CHANNELS))

REQUIRED = ("engine_speed", "torque", "power")
"""Where a number that cannot be trusted makes the log unusable (torque or power, whichever is there)."""

# What each dimension is turned into. Spark advance stays in degrees, as the trade speaks of it.
_TARGETS = {
    "time": "second", "speed": "turn / second", "torque": "newton * meter", "power": "watt",
    "mass_flow": "kilogram / second", "volume_flow": "meter ** 3 / second", "pressure": "pascal",
    "absolute_pressure": "pascal", "gauge_pressure": "pascal", "temperature": "kelvin", "angle": "degree",
    "afr": "dimensionless", "lambda": "dimensionless", "fraction": "dimensionless",
}  # fmt: skip

# dimension -> pint's name -> the spellings met in logs, squashed: see `_squash`.
_MASS_FLOW = {
    "kilogram / hour": "kg/h kg/hr kgh kg/hour kgperhour",
    "kilogram / minute": "kg/min",
    "kilogram / second": "kg/s kg/sec",
    "gram / second": "g/s g/sec gs",
    "gram / minute": "g/min",
    "gram / hour": "g/h g/hr",
    "pound / hour": "lb/h lb/hr lbs/h lbs/hr lbm/h lbm/hr lb/hour lbs/hour lbhr lbshr lbperhour pph #/h #/hr",
    "pound / minute": "lb/min lbs/min lbm/min",
    "pound / second": "lb/s lb/sec lbm/s",
}
_VOLUME_FLOW = {
    "foot ** 3 / minute": "cfm scfm acfm icfm ft3/min cuft/min ft3/m",
    "meter ** 3 / hour": "m3/h m3/hr cmh m3h",
    "meter ** 3 / minute": "m3/min",
    "meter ** 3 / second": "m3/s",
    "liter / hour": "l/h l/hr lph lh litres/h liters/h",
    "liter / minute": "l/min lpm litres/min liters/min",
    "liter / second": "l/s lps",
    "milliliter / minute": "ml/min cc/min cm3/min ccm",
    "milliliter / second": "ml/s cc/s cm3/s",
    "US_liquid_gallon / hour": "usgal/h usgal/hr usgph",
    "imperial_gallon / hour": "impgal/h impgal/hr ukgal/h ukgal/hr impgph",
}
_PLAIN_PRESSURE = {
    "psi": "psi lb/in2 lbf/in2 lb/sqin lbs/in2 lbin2",
    "bar": "bar",
    "millibar": "mbar mb",
    "pascal": "pa",
    "hectopascal": "hpa",
    "kilopascal": "kpa",
    "megapascal": "mpa",
    "inch_Hg": 'inhg "hg hgin',
    "mmHg": "mmhg torr",
    "cmHg": "cmhg",
    "inch_H2O": 'inh2o inwc inwg inaq "h2o',
    "cmH2O": "cmh2o",
    "kilogram_force / centimeter ** 2": "kg/cm2 kgf/cm2 kp/cm2 kgcm2",
    "standard_atmosphere": "atm",
}
_ABSOLUTE = {
    "psi": "psia psiabs", "bar": "bara barabs", "kilopascal": "kpaa kpaabs", "millibar": "mbara mbarabs",
    "hectopascal": "hpaabs", "inch_Hg": "inhga inhgabs", "mmHg": "mmhgabs",
}  # fmt: skip
_GAUGE = {
    "psi": "psig psigauge", "bar": "barg bargauge", "kilopascal": "kpag kpagauge", "millibar": "mbarg",
}  # fmt: skip
_SPELLINGS: Mapping[str, tuple[Mapping[str, str], ...]] = {
    "time": ({"second": "s sec secs second seconds", "millisecond": "ms msec", "microsecond": "us μs usec",
              "minute": "min mins minute minutes", "hour": "h hr hrs hour hours"},),
    "speed": ({"rpm": "rpm 1/min /min min1 r/min rev/min revs/min revmin u/min umin tr/min revolutions/minute "
                      "revolutionsperminute",
               "turn / second": "rev/s revs/s rps r/s 1/s s1 hz", "radian / second": "rad/s"},),
    "torque": ({"pound_force * foot": "lbft ftlb lbfft ftlbf lbsft ftlbs lbfeet poundfeet poundfoot footpound "
                                      "footpounds lb/ft lbs/ft ft/lb ft/lbs lbffeet poundforcefeet",
                "pound_force * inch": "lbin inlb lbfin inlbf lbsin inlbs",
                "newton * meter": "nm newtonmetre newtonmeter newtonmetres newtonmeters",
                "kilonewton * meter": "knm", "decanewton * meter": "danm",
                "kilogram_force * meter": "kgm kgfm mkg mkgf kpm mkp"},),
    "power": ({"horsepower": "hp bhp horsepower mechanicalhp hpmech hpmechanical imperialhp",
               "metric_horsepower": "ps cv ch pk metrichp hpmetric metrichorsepower hpm",
               "watt": "w watt watts", "kilowatt": "kw kilowatt kilowatts"},),
    "mass_flow": (_MASS_FLOW,),
    "volume_flow": (_VOLUME_FLOW,),
    "pressure": (_PLAIN_PRESSURE, _ABSOLUTE, _GAUGE),
    "absolute_pressure": (_PLAIN_PRESSURE, _ABSOLUTE),
    "gauge_pressure": (_PLAIN_PRESSURE, _GAUGE),
    "temperature": ({"degree_Celsius": "°c c degc celsius degreec degreesc degcelsius",
                     "degree_Fahrenheit": "°f f degf fahrenheit degreef degreesf degfahrenheit",
                     "kelvin": "k kelvin °k degk"},),
    "angle": ({"degree": "° deg degs degree degrees degca °ca degcrank degbtdc °btdc btdc degreesbtdc",
               "radian": "rad"},),
    "afr": ({"dimensionless": "1 :1 x:1 afr a/f ratio none"},),
    "lambda": ({"dimensionless": "1 lambda λ ratio none"},),
    "fraction": ({"percent": "% percent pct %rh rh% %open", "dimensionless": "fraction 01 01fraction"},),
}  # fmt: skip

EXAMPLES: Mapping[str, str] = {
    "time": "s, ms", "speed": "rpm, 1/min, rev/s, rad/s", "torque": "lb-ft, N m, kgf m",
    "power": "hp, PS (metric hp), kW", "mass_flow": "lb/h, kg/h, g/s",
    "volume_flow": "cfm, m3/h, L/h, US gal/h, imp gal/h", "pressure": "psi, bar, kPa",
    "absolute_pressure": "kPa, mbar, inHg, psia", "gauge_pressure": "psi, bar, kPa",
    "temperature": "°C, °F, K", "angle": "deg", "afr": "AFR", "lambda": "lambda", "fraction": "%, fraction",
}  # fmt: skip
"""Spellings to offer in a message, by dimension."""

STANDARD_FLOW = frozenset({"scfm"})
"""Squashed units that mean the flow meter's own standard conditions, not those on the day."""

_DROPPED = re.compile(r"[\s.·•*⋅×_^()\[\]{}‐-―−-]+")


def _squash(text: str) -> str:
    """A unit as typed, without what only decorates it: `N·m`, `N m` and `n-m` are all `nm`."""
    text = unicodedata.normalize("NFKC", text.replace("º", "°").replace("˚", "°").replace("''", '"'))
    return _DROPPED.sub("", text.casefold().replace("0..1", "01"))


@cache
def _spelled(dimension: str) -> Mapping[str, str]:
    """Squashed spelling -> pint's name, for one dimension."""
    return {
        spelling: name
        for table in _SPELLINGS[dimension]
        for name, spellings in table.items()
        for spelling in spellings.split()
    }


def is_unit(text: str, dimension: str) -> bool:
    """Whether `text` is a unit that this dimension is logged in. Asks no library."""
    return len(text) <= 40 and _squash(text) in _spelled(dimension)


def is_standard_flow(text: str) -> bool:
    """Whether a flow unit means standard conditions ("scfm"), so that it is not the flow on the day."""
    return _squash(text) in STANDARD_FLOW


def factor(unit_text: str, dimension: str) -> tuple[float, float] | None:
    """Scale and offset from a written unit to SI: SI = scale * written + offset; None if the unit is unknown.

    `dimension` is that of a `Channel`. Engine speed goes to rev/s and spark advance to degrees.
    """
    name = _spelled(dimension).get(_squash(unit_text)) if len(unit_text) <= 40 else None
    return None if name is None else _factor(name, _TARGETS[dimension])


@cache
def _factor(name: str, target: str) -> tuple[float, float]:
    quantity = registry().Quantity
    if target == "kelvin" and name != "kelvin":
        # A step of one degree and the zero are asked apart: their difference would lose digits.
        step = quantity(1.0, "delta_" + name).to(target).magnitude
        return float(step), float(quantity(0.0, name).to(target).magnitude)
    return float(quantity(1.0, name).to(target).magnitude), 0.0
