"""The channels a dyno can log: name, SI unit, header words and unit spellings of each.

The vocabulary is closed on purpose. A unit that is not in it is reported, not guessed: "gal/h" may be US or
imperial, and nothing in a log says which. The spellings lead to units of the record's own table, where it has them.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

from builder.engine.constants import HOUR, LITRE, MINUTE, POUND, STANDARD_ATMOSPHERE, STANDARD_GRAVITY
from builder.record.dyno_log.translated_words import TRANSLATED_WORDS
from builder.record.quantities.unit_table import IMPERIAL_GALLON, MILLIMETRE_OF_MERCURY, US_GALLON
from builder.record.quantities.units import dimension_of
from builder.record.quantities.units import factor as record_factor

CYLINDERS = 16


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel of a dyno log.

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
    *(Channel(f"lambda_{i}", f"Lambda, cylinder {i}", "lambda", "1", (), 0.3, 5.0, assumed="1")
      for i in range(1, CYLINDERS + 1)),
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
    Channel("manifold_vacuum", "Manifold vacuum", "gauge_pressure", "Pa",
            ("vacuum", "manifold vacuum", "intake vacuum", "inlet vacuum", "intake manifold vacuum",
             "inlet manifold vacuum"), -2e4, 1.05e5),
    Channel("turbo_speed", "Turbocharger speed", "speed", "rev/s",
            ("turbo speed", "turbocharger speed", "turbo rpm", "turbo shaft speed", "turbine speed"), 0.0, 6000.0),
    Channel("blow_by", "Blow-by", "volume_flow", "m3/s",
            ("blow by", "blowby", "crankcase blow by", "crankcase flow", "blow by flow"), 0.0, 0.05),
    Channel("barometer", "Barometer", "absolute_pressure", "Pa",
            ("barometer", "baro", "barometric pressure", "baro pressure", "baro press", "ambient pressure",
             "atmospheric pressure", "station pressure"), 5e4, 1.1e5),
    Channel("air_temperature", "Air temperature", "temperature", "K",
            ("air temperature", "air temp", "intake air temp", "intake air temperature", "iat",
             "inlet air temp", "inlet air temperature", "ambient temp", "ambient temperature", "inlet temp",
             "intake temp", "ambient air temp", "ambient air temperature"), 230.0, 370.0),
    Channel("charge_temperature", "Charge temperature, in the manifold", "temperature", "K",
            ("charge temperature", "charge temp", "charge air temperature", "charge air temp", "manifold temperature",
             "manifold temp", "manifold air temperature", "manifold air temp", "intake manifold temperature",
             "intake manifold temp", "inlet manifold temperature", "inlet manifold temp"), 230.0, 550.0),
    Channel("battery_voltage", "Battery voltage", "voltage", "V",
            ("battery voltage", "battery", "batt voltage", "battery volts", "batt", "vbat", "vbatt", "volts", "voltage",
             "system voltage", "supply voltage"), 0.0, 60.0),
    Channel("relative_humidity", "Relative humidity", "fraction", "1",
            ("relative humidity", "humidity", "rh", "rel humidity", "rel hum"), 0.0, 1.0),
    Channel("throttle", "Throttle", "fraction", "1",
            ("throttle", "throttle position", "tps", "throttle opening"), -0.1, 1.1),
    Channel("injector_pulse", "Injector pulse", "time", "s",
            ("injector pulse", "injector pulse width", "injection pulse width", "injection time", "pulse width",
             "inj pulse width", "inj pw", "fuel pulse width", "injector on time"), 0.0, 0.1),
)  # fmt: skip


def _with_translations(channel: Channel) -> Channel:
    source = channel.slug.removesuffix("_volume")
    return replace(channel, words=(*channel.words, *TRANSLATED_WORDS.get(source, ())))


CHANNELS: Mapping[str, Channel] = {channel.slug: _with_translations(channel) for channel in _CHANNELS}
"""Every channel by its slug, in the order in which a page would list them."""


def channel_named(name: str) -> str | None:
    """Return the slug of the channel that a name means: its slug, its title, or one of its header words; else None."""
    return _channel_names().get(_plain(name))


def _plain(name: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9λ]+", " ", without_accents(name).lower()).split())


def without_accents(text: str) -> str:
    """Return the text with plain letters in place of accented ones: "Öldruck" is "Oldruck", "régime" is "regime"."""
    return "".join(mark for mark in unicodedata.normalize("NFD", text) if not unicodedata.combining(mark))


@cache
def _channel_names() -> Mapping[str, str]:
    names: dict[str, str] = {}  # by mass comes before by volume, which has the same words
    for channel in CHANNELS.values():
        names[_plain(channel.slug)] = channel.slug
    for channel in CHANNELS.values():
        for word in (channel.title, *channel.words):
            names.setdefault(_plain(word), channel.slug)
    return names


DIMENSIONS = tuple(dict.fromkeys(channel.dimension for channel in _CHANNELS))

REQUIRED = ("engine_speed", "torque", "power")
"""Where a number that cannot be trusted makes the log unusable (torque or power, whichever is there)."""

# Units that logs have and records have not: factor to SI.
_LOG_UNITS = {
    "V": 1.0, "mV": 1e-3, "krpm": 1000 / MINUTE,
    "ms": 1e-3, "us": 1e-6, "rad/s": 1 / math.tau, "rad": 180 / math.pi, "kN.m": 1e3, "daN.m": 10.0,
    "kg/min": 1 / MINUTE, "g/h": 1e-3 / HOUR, "lb/min": POUND / MINUTE, "lb/s": POUND,
    "m3/min": 1 / MINUTE, "L/h": LITRE / HOUR, "cc/s": 1e-6, "US gal/h": US_GALLON / HOUR,
    "imp gal/h": IMPERIAL_GALLON / HOUR,
    "cmHg": 10 * MILLIMETRE_OF_MERCURY, "cmH2O": 10 * STANDARD_GRAVITY, "kgf/cm2": STANDARD_GRAVITY * 1e4,
    "atm": STANDARD_ATMOSPHERE, "": 1.0,
}  # fmt: skip

# dimension -> name of the unit, here or in the record's table -> the spellings met in logs, squashed: see `_squash`.
_MASS_FLOW = {
    "kg/h": "kg/h kg/hr kgh kg/hour kgperhour kg/std",
    "kg/min": "kg/min",
    "kg/s": "kg/s kg/sec",
    "g/s": "g/s g/sec gs",
    "g/min": "g/min",
    "g/h": "g/h g/hr",
    "lb/h": "lb/h lb/hr lbs/h lbs/hr lbm/h lbm/hr lb/hour lbs/hour lbhr lbshr lbperhour pph #/h #/hr",
    "lb/min": "lb/min lbs/min lbm/min",
    "lb/s": "lb/s lb/sec lbm/s",
}
_VOLUME_FLOW = {
    "cfm": "cfm scfm acfm icfm ft3/min cuft/min ft3/m",
    "m3/h": "m3/h m3/hr cmh m3h",
    "m3/min": "m3/min",
    "m3/s": "m3/s",
    "L/h": "l/h l/hr lph lh litres/h liters/h l/std liter/h litros/h litri/h",
    "L/min": "l/min lpm litres/min liters/min",
    "L/s": "l/s lps",
    "cc/min": "ml/min cc/min cm3/min ccm",
    "cc/s": "ml/s cc/s cm3/s",
    "US gal/h": "usgal/h usgal/hr usgph",
    "imp gal/h": "impgal/h impgal/hr ukgal/h ukgal/hr impgph",
}
_PLAIN_PRESSURE = {
    "psi": "psi lb/in2 lbf/in2 lb/sqin lbs/in2 lbin2",
    "bar": "bar",
    "mbar": "mbar mb",
    "Pa": "pa",
    "hPa": "hpa",
    "kPa": "kpa",
    "MPa": "mpa",
    "inHg": 'inhg "hg hgin',
    "mmHg": "mmhg torr",
    "cmHg": "cmhg",
    "inH2O": 'inh2o inwc inwg inaq "h2o',
    "cmH2O": "cmh2o",
    "kgf/cm2": "kg/cm2 kgf/cm2 kp/cm2 kgcm2",
    "atm": "atm",
}
_ABSOLUTE = {
    "psi": "psia psiabs", "bar": "bara barabs", "kPa": "kpaa kpaabs", "mbar": "mbara mbarabs",
    "hPa": "hpaabs", "inHg": "inhga inhgabs", "mmHg": "mmhgabs",
}  # fmt: skip
_GAUGE = {"psi": "psig psigauge", "bar": "barg bargauge", "kPa": "kpag kpagauge", "mbar": "mbarg"}
_SPELLINGS: Mapping[str, tuple[Mapping[str, str], ...]] = {
    "time": ({"s": "s sec secs second seconds"
                   " sek sekunde sekunden seconde secondes seg segundo segundos secondo secondi",
              "ms": "ms msec", "us": "us μs usec",
              "min": "min mins minute minutes minuten minuto minutos minuti", "h": "h hr hrs hour hours"},),
    "speed": ({"rpm": "rpm 1/min /min min1 r/min rev/min revs/min revmin u/min umin tr/min revolutions/minute "
                      "revolutionsperminute umdr/min umdrehungen/min upm tour/min tours/min trs/min t/min "
                      "vuelta/min vueltas/min giri/min giri/1' giri/minuto tours/minute "
                      "vueltas/minuto",
               "rev/s": "rev/s revs/s rps r/s 1/s s1 hz", "rad/s": "rad/s", "krpm": "krpm 1000rpm x1000rpm rpmx1000"},),
    "voltage": ({"V": "v volt volts", "mV": "mv millivolt millivolts"},),
    "torque": ({"lbf.ft": "lbft ftlb lbfft ftlbf lbsft ftlbs lbfeet poundfeet poundfoot footpound "
                          "footpounds lb/ft lbs/ft ft/lb ft/lbs lbffeet poundforcefeet",
                "lbf.in": "lbin inlb lbfin inlbf lbsin inlbs",
                "N.m": "nm newtonmetre newtonmeter newtonmetres newtonmeters",
                "kN.m": "knm", "daN.m": "danm mdan", "kgf.m": "kgm kgfm mkg mkgf kpm mkp"},),
    "power": ({"hp": "hp bhp horsepower mechanicalhp hpmech hpmechanical imperialhp",
               "PS": "ps cv ch pk"
                     " psdin cvdin chdin chevaux pferdestarken caballos cavalli metrichp hpmetric metrichorsepower hpm",
               "W": "w watt watts", "kW": "kw kilowatt kilowatts"},),
    "mass_flow": (_MASS_FLOW,),
    "volume_flow": (_VOLUME_FLOW,),
    "pressure": (_PLAIN_PRESSURE, _ABSOLUTE, _GAUGE),
    "absolute_pressure": (_PLAIN_PRESSURE, _ABSOLUTE),
    "gauge_pressure": (_PLAIN_PRESSURE, _GAUGE),
    "temperature": ({"degC": "°c c degc celsius degreec degreesc degcelsius gradc gradcelsius",
                     "degF": "°f f degf fahrenheit degreef degreesf degfahrenheit",
                     "K": "k kelvin °k degk"},),
    "angle": ({"deg": "° deg degs degree degrees degca °ca degcrank degbtdc °btdc btdc degreesbtdc"
                     " °kw gradkw grad grados gradi °vilebrequin",
               "rad": "rad"},),
    "afr": ({"": "1 :1 x:1 afr a/f ratio none"},),
    "lambda": ({"": "1 lambda λ ratio none"},),
    "fraction": ({"%": "% percent pct %rh rh% %open prozent", "": "fraction 01 01fraction"},),
}  # fmt: skip

EXAMPLES: Mapping[str, str] = {
    "time": "s, ms", "voltage": "V, mV", "speed": "rpm, 1/min, rev/s, rad/s", "torque": "lb-ft, N m, kgf m",
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
    """Return a unit without capitals, blanks and dots: `N·m`, `N m` and `n-m` are all `nm`."""
    text = unicodedata.normalize("NFKC", text.replace("º", "°").replace("˚", "°").replace("''", '"'))
    return _DROPPED.sub("", text.casefold().replace("0..1", "01"))


@cache
def _factors(dimension: str) -> Mapping[str, tuple[float, float]]:
    """Return scale and offset to SI by squashed spelling, for one dimension."""
    return {
        spelling: (_LOG_UNITS[name], 0.0) if name in _LOG_UNITS else record_factor(name, str(dimension_of(name)))
        for table in _SPELLINGS[dimension]
        for name, spellings in table.items()
        for spelling in spellings.split()
    }


def is_unit(text: str, dimension: str) -> bool:
    """Return whether `text` is a unit that this dimension is logged in."""
    return factor(text, dimension) is not None


def is_standard_flow(text: str) -> bool:
    """Return whether a flow unit means standard conditions ("scfm"), not those of the day."""
    return _squash(text) in STANDARD_FLOW


def factor(unit_text: str, dimension: str) -> tuple[float, float] | None:
    """Return scale and offset from a written unit to SI: ``SI = scale * written + offset``; None for an unknown unit.

    `dimension` is that of a `Channel`. Engine speed goes to rev/s and spark advance to degrees.
    """
    return _factors(dimension).get(_squash(unit_text)) if len(unit_text) <= 40 else None
