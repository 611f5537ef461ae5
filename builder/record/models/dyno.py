"""dyno.yaml: the session, the conditions, and every pull with its log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import GetCoreSchemaHandler, model_validator
from pydantic_core import core_schema

from builder.record.dyno_log.channels import CHANNELS, channel_named
from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    Day,
    Line,
    Lines,
    Mass,
    Number,
    OneAngle,
    OneFraction,
    OneInertia,
    OneLength,
    OneOfAny,
    OnePower,
    OnePressure,
    OneSpeed,
    OneTemperature,
    OneTime,
    OneTorque,
    Prose,
    RecordModel,
    SpeedRange,
    field,
)
from builder.record.problem import did_you_mean
from builder.record.quantities.readings import ReadingErrors

UnitChoice = Annotated[
    Literal["inch", "metric", "both"],
    Synonyms({"inch": "in, inches, US, imperial", "metric": "SI, mm", "both": "inch and metric, metric and inch"}),
]
CorrectionStandard = Annotated[
    Literal["observed", "sae-j1349", "iso-1585", "sae-j607", "din-70020", "un-r85-diesel"],
    Synonyms(
        {
            "observed": "uncorrected, as observed, raw, none",
            "sae-j1349": "J1349, SAE 1349",
            "sae-j607": "J607, SAE 607",
            "un-r85-diesel": "UN R85, ECE R85, R85",
        }
    ),
]
BarometerPlace = Annotated[
    Literal["station", "sea level"],
    Synonyms(
        {
            "station": "station pressure, in the room, dyno room",
            "sea level": "sea level corrected, corrected to sea level, weather report, QNH, MSL",
        }
    ),
]
TestKind = Annotated[
    Literal["sweep", "steps"], Synonyms({"sweep": "sweep test, ramp, acceleration", "steps": "step test, steady state"})
]
"""How the speed was run through: swept, or held at each point."""

DynoType = Annotated[
    Literal["water brake", "eddy current", "inertia", "electric motor", "hydraulic pump", "friction brake"],
    Synonyms(
        {
            "water brake": "water, hydraulic, hydrodynamic",
            "eddy current": "retarder, electromagnetic",
            "inertia": "flywheel, inertial",
            "electric motor": "AC, DC, AC motor, motoring, transient",
            "friction brake": "Prony brake, Prony, rope brake",
        }
    ),
]
"""How a dyno takes up the power."""

DecimalMark = Annotated[Literal[".", ","], Synonyms({".": "point, dot, period", ",": "comma"})]


@dataclass(frozen=True)
class ByChannel:
    """Annotation of pairs whose names are channels of a log: each is read under any of its names."""

    choices: tuple[str, ...] = tuple(CHANNELS)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Read the pairs, then give each channel its own name."""
        return core_schema.no_info_after_validator_function(_by_channel, handler(source))


def _by_channel(pairs: dict[str, str]) -> dict[str, str]:
    """Return pairs by the channel's own name. Raises a ValidationError for one that is unknown or given twice."""
    named: dict[str, str] = {}
    errors = ReadingErrors()
    for name, value in pairs.items():
        channel = channel_named(name)
        if channel is None:
            hint = did_you_mean(name, CHANNELS, "the field reference lists them", cutoff=0.5)
            errors.add((name,), f"there is no channel {name[:60]!r}: {hint}", name)
        elif channel in named:
            errors.add((name,), f"{channel} is given twice, here as {name!r}: keep one of them", name)
        else:
            named[channel] = value
    errors.raise_if_any()
    return named


ChannelPairs = Annotated[dict[Line, Line], ByChannel()]
"""A text for each channel of a log."""


class ConditionInstruments(RecordModel):
    """The instruments that the air was read with, each by its ID in shop.yaml."""

    barometer: Line | None = field("ID of the barometer in the instruments of shop.yaml", "B1")
    temperature: Line | None = field("ID of the thermometer", "T1")
    humidity: Line | None = field("ID of the hygrometer", "H1")


class Conditions(RecordModel):
    """The air the engine breathed."""

    # `with` is what the shop writes, and a keyword of Python, so that it cannot be written as an attribute.
    __annotations__["with"] = ConditionInstruments | None
    locals()["with"] = field("instruments that the air was read with", "", title="Instruments")

    barometer: OnePressure | None = field(
        "barometric pressure",
        "29.61 inHg",
        plausible_range=("60 kPa", "108 kPa"),
        units=("inHg", "hPa", "kPa"),
        also=("barometric_pressure",),
    )
    barometer_is: BarometerPlace | None = field(
        "station: read in the room; sea level: from a weather report, which needs the altitude", "station"
    )
    altitude: OneLength | None = field(
        "altitude of the dyno room", "640 ft", plausible_range=("-420 m", "5000 m"), sign="any", units=("ft", "m")
    )
    temperature: OneTemperature | None = field(
        "intake air temperature",
        "72 degF",
        plausible_range=("-30 degC", "60 degC"),
        also=("air_temperature", "intake_air_temperature"),
    )
    relative_humidity: OneFraction | None = field(
        "relative humidity", "45 %", plausible_range=("0 %", "100 %"), also=("humidity",)
    )
    wet_bulb: OneTemperature | None = field(
        "alternative to relative humidity",
        "61 degF",
        alternative_to="relative_humidity",
        plausible_range=("-30 degC", "45 degC"),
    )
    dew_point: OneTemperature | None = field(
        "alternative to relative humidity",
        "52 degF",
        alternative_to="relative_humidity",
        plausible_range=("-40 degC", "40 degC"),
    )
    vapor_pressure: OnePressure | None = field(
        "alternative to relative humidity",
        "0.42 inHg",
        alternative_to="relative_humidity",
        plausible_range=("0 Pa", "8 kPa"),
        sign="not negative",
        units=("inHg", "hPa", "kPa"),
    )

    @property
    def instruments(self) -> ConditionInstruments | None:
        """Return the instruments that the air was read with; None where not recorded."""
        cited: ConditionInstruments | None = getattr(self, "with")
        return cited

    @model_validator(mode="after")
    def _one_humidity(self) -> Conditions:
        given = [
            name
            for name in ("relative_humidity", "wet_bulb", "dew_point", "vapor_pressure")
            if getattr(self, name) is not None
        ]
        if len(given) > 1:
            raise ValueError(f"humidity is given {len(given)} ways ({', '.join(given)}): keep the one that was read")
        if self.barometer is not None and self.barometer_is is None:
            raise ValueError(
                "the barometer does not say where its reading counts: add barometer_is: station (read in the room) "
                "or barometer_is: sea level (from a weather report, with altitude)"
            )
        if self.barometer_is == "sea level" and self.altitude is None:
            raise ValueError("a sea-level barometer needs the altitude of the room: add altitude: 640 ft")
        return self


class Setting(RecordModel):
    """The level of the one thing that is varied over several pulls."""

    name: Line = field("variable", "total spark advance", required=True)
    level: OneOfAny = field(
        "its setting in this pull; of spark advance it may be left out where the pull has total_timing",
        "34 deg",
        required=True,
        sign="any",
    )


def is_timing(name: str) -> bool:
    """Return whether a setting's name means the spark advance."""
    return channel_named(name.casefold().removeprefix("total ")) == "spark_advance"


class Pull(RecordModel):
    """One pull."""

    name: Line = field("name of the pull", "first pull, 70 jets", repeat_example="second pull, 68 jets", required=True)
    file: Line | None = field("the log, in this build's folder", "dyno/pull-1.csv", repeat_example="dyno/pull-2.csv")
    since: Line | None = field(
        "name of the earlier pull that it is compared with", "first pull, 70 jets", refers_to="name"
    )
    changed: Lines = field(
        "what was changed since that pull; a list where more than one thing was", "main jets 70 to 68", default=()
    )
    repeat_of: Line | None = field(
        "name of the earlier pull that it repeats with nothing changed",
        "first pull, 70 jets",
        alternative_to="changed",
        refers_to="name",
    )
    setting: Setting | None = field("variable swept over several pulls, and its setting here", "")
    total_timing: OneAngle | None = field(
        "total spark advance, before TDC",
        "34 deg",
        plausible_range=("5 deg", "60 deg"),
        also=("total_advance",),
        title="total timing, before TDC",
    )
    knock: Line | None = field("knock, heard or by sensor", "none heard up to 6000 rpm")
    conditions: Conditions | None = field("weather of this pull, if different", "")
    readings: CorrectionStandard | None = field(
        "observed, or the standard the log was corrected to already", "observed"
    )
    columns: ChannelPairs | None = field("column of each channel, if the header is unclear", "{torque: TQ2}")
    units: ChannelPairs | None = field("units, if the log does not say", "{torque: lbf.ft}")
    decimal_mark: DecimalMark | None = field("decimal mark, if ambiguous", ".")
    left_out: Line | None = field("reason to exclude this pull", "plug lead came off")
    note: Prose | None = field("remarks", "plugs read after the pull: light tan")
    private_note: Prose | None = field("private note", "light knock at 4200 rpm on the first try", private="shop")
    test: TestKind | None = field("sweep, or steps held at each speed; if different from the session", "steps")

    @model_validator(mode="before")
    @classmethod
    def _timing_is_the_level(cls, given: Any) -> Any:
        """Take the level of a setting that is the spark advance from the total timing of the pull."""
        setting = given.get("setting") if isinstance(given, dict) else None
        if not isinstance(given, dict) or not isinstance(setting, dict) or setting.get("level") is not None:
            return given
        timing, name = given.get("total_timing"), setting.get("name")
        if timing is None or not isinstance(name, str) or not is_timing(name):
            return given
        return {**given, "setting": {**setting, "level": timing}}

    @property
    def changed_text(self) -> str:
        """Return what was changed, in one line; empty where nothing is recorded."""
        return ", ".join(self.changed)


class TorqueCalibration(RecordModel):
    """How the torque reading was last checked with masses on the arm."""

    date: Day | None = field("day", "2024-04-02")
    masses: Mass | None = field("masses hung on the arm", "{unit: kg, measured: [10, 20, 40]}")
    error_found: OneFraction | None = field(
        "largest error found and not corrected for, over the torque",
        "0.3 %",
        plausible_range=("0 %", "5 %"),
        sign="not negative",
    )


class Machine(RecordModel):
    """The dyno itself."""

    type: DynoType | None = field("how it takes up the power", "water brake")
    arm: OneLength | None = field("length of the torque arm", "0.7162 m", plausible_range=("50 mm", "3 m"))
    calibration: TorqueCalibration | None = field("last calibration of the torque reading", "")
    drive_losses: OneFraction | None = field(
        "power lost between the crankshaft and the dyno, over the power; stated, not added to the result",
        "1 %",
        plausible_range=("0 %", "30 %"),
        sign="not negative",
    )


class NotedResult(RecordModel):
    """Peaks that were written down, of an engine whose log is not to be had."""

    power: OnePower | None = field("peak power", "342 hp", plausible_range=("0.5 hp", "10000 hp"))
    power_at: OneSpeed | None = field("its rpm", "5400 rpm", plausible_range=("300 rpm", "25000 rpm"))
    torque: OneTorque | None = field("peak torque", "371 lb-ft", plausible_range=("0.5 N.m", "20000 N.m"))
    torque_at: OneSpeed | None = field("its rpm", "4100 rpm", plausible_range=("300 rpm", "25000 rpm"))
    correction: CorrectionStandard | None = field("standard that they are corrected to, if known", "sae-j1349")
    note: Line | None = field("where they come from", "job book, page 41")


class Dyno(RecordModel):
    """dyno.yaml: the dyno session."""

    # `with` is what the shop writes, and a keyword of Python, so that it cannot be written as an attribute.
    __annotations__["with"] = Line | None
    locals()["with"] = field(
        "ID of the instrument that read the torque, in the instruments of shop.yaml", "D1", title="Torque read with"
    )
    dyno: Line | None = field("dyno", "water brake")
    machine: Machine | None = field("the dyno itself: type, arm, calibration, losses", "", title="Dyno, as calibrated")
    date: Day | None = field("day", "2024-05-14")
    by: Line | None = field("operator", "RT")
    readings: CorrectionStandard | None = field(
        "observed, or the standard that every log was corrected to already", "observed"
    )
    conditions: Conditions | None = field("weather during the session", "")
    test: TestKind | None = field(
        "sweep, or steps held at each speed; if not given, as the log's time column shows", "sweep"
    )
    sweep_rate: Number | None = field(
        "rate of a sweep, rpm per second", "200", sign="positive", title="Sweep rate, rpm/s"
    )
    settling_time: OneTime | None = field(
        "time that each speed of a step test was held before it was read", "5 s", plausible_range=("0.5 s", "10 min")
    )
    correction: CorrectionStandard | None = field(
        "correction standard of this session, where it differs from the shop's", "sae-j1349"
    )
    range: SpeedRange | None = field("speeds over which means and gains are taken", "3000..6000 rpm")
    inertia: OneInertia | None = field(
        "rotating inertia, for the inertia correction",
        "1.85 kg.m2",
        plausible_range=("0.001 kg.m2", "200 kg.m2"),
        sign="not negative",
    )
    fuel: Line | None = field("fuel used", "98 RON from one drum")
    oil: Line | None = field("engine oil", "SAE 30 break-in oil")
    ancillaries: Line | None = field(
        "accessories fitted: pump, alternator, fan, muffler",
        "water pump driven, no alternator, no fan, dyno's own muffler",
        also=("accessories",),
    )
    delivered: Line | None = field(
        "name of the pull with the engine as it left the shop, or of one of its repeats; without it, the last pull",
        "first pull, 70 jets",
        title="Pull as delivered",
    )
    noted_result: NotedResult | None = field(
        "result that was noted, without a log: shown as noted, and never where a pull of the session counts",
        "",
        only_where="there is no log of the result",
    )
    before_work: Line | None = field(
        "name of a pull made before the work, which the engine as delivered is compared with",
        "before the work",
        title="Pull before the work",
        only_where="a pull was made before the work",
    )
    pulls: tuple[Pull, ...] = field(
        "pulls, in order",
        "",
        default=(),
        also=("runs",),
        depends_on=dict.fromkeys(
            (
                "bottom_end.block",
                "bottom_end.crankshaft",
                "bottom_end.rods",
                "bottom_end.pistons",
                "bottom_end.deck_clearance",
                "top_end.heads",
                "top_end.gasket",
                "top_end.rockers",
                "top_end.exhaust",
                "top_end.induction.rated_flow",
                "top_end.induction.restrictor_diameter",
                "top_end.induction.boost",
                "cam",
                "ports",
                "build.engine",
                "delivery.settings.total_timing",
            )
        ),
    )
    note: Prose | None = field("remarks", "ninety minutes of break-in before the first pull")

    @property
    def instrument(self) -> str | None:
        """Return the ID of the instrument that read the torque; None where not recorded."""
        cited: str | None = getattr(self, "with")
        return cited
