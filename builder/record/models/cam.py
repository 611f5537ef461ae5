"""cam.yaml: the card, how the cam was installed, what the degree wheel showed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator

from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    DescribedModel,
    Length,
    Line,
    Mass,
    Number,
    OneAngle,
    OneLength,
    Ratio,
    RecordModel,
    field,
)
from builder.record.quantities.sign import require_sign
from builder.record.quantities.units import UnitProblem, parse_quantity

LifterKind = Annotated[
    Literal[
        "hydraulic flat tappet", "solid flat tappet", "hydraulic roller", "solid roller", "bucket", "finger follower",
        "none",
    ],
    Synonyms({
        "hydraulic flat tappet": "flat hydraulic, hydraulic flat, flat tappet hydraulic, hydraulic flat-tappet lifters",
        "solid flat tappet": "flat solid, solid flat, mechanical flat tappet, flat mechanical, flat tappet solid",
        "hydraulic roller": "roller hydraulic, hydraulic roller lifters, hydraulic roller cam",
        "solid roller": "roller solid, mechanical roller, solid roller lifters, solid roller cam",
        "bucket": "buckets, bucket tappet, bucket tappets, bucket and shim, shim and bucket",
        "finger follower": "finger followers, finger",
        "none": "no lifters",
    }),
]  # fmt: skip
AdjusterPlace = Annotated[
    Literal["pushrod", "rocker pivot"],
    Synonyms({"pushrod": "pushrod end", "rocker pivot": "rocker stud, stud, stud nut, rocker nut"}),
]


def _lift_mark(text: str) -> str:
    if text == "seat":
        return text
    try:
        lift = parse_quantity(text, "length")
    except UnitProblem as problem:
        raise ValueError(f"{problem}; or write seat") from None
    require_sign(lift, "not negative")
    return text


LiftMark = Annotated[Line, AfterValidator(_lift_mark)]
"""The lobe or valve lift at which timing was taken: a length, or `seat`."""


class _AtLift(RecordModel):
    """Timing that was taken at a lift."""

    at: LiftMark

    @property
    def lift(self) -> float:
        """Return the lift that the timing was taken at [m]; 0 for `seat`."""
        return 0.0 if self.at == "seat" else parse_quantity(self.at, "length").si


class Duration(_AtLift):
    """Duration at one lift."""

    at: LiftMark = field("lift the duration is taken at", "0.050 in", required=True)
    duration: OneAngle = field(
        "crank degrees", "230 deg", required=True, plausible_range=("60 deg", "400 deg"), sign="positive"
    )


class LobeCard(RecordModel):
    """One side of the cam card."""

    centerline: OneAngle | None = field(
        "card's centerline: after TDC for intake, before TDC for exhaust",
        "108 deg",
        plausible_range=("80 deg", "140 deg"),
    )
    lobe_lift: Length | None = field(
        "lift at the lobe", "0.335 in", plausible_range=("1.5 mm", "30 mm"), also=("cam_lift",)
    )
    valve_lift: Length | None = field("lift at the valve, before lash", "0.503 in", plausible_range=("2 mm", "40 mm"))
    rocker_ratio: Ratio | None = field(
        "rocker ratio that the card's lift at the valve is for", "1.5", plausible_range=("0.8", "2.5")
    )
    lash: Length | None = field(
        "lash at the valve, with hot or cold in the note",
        "0.022 in",
        plausible_range=("0 mm", "1.2 mm"),
        sign="not negative",
    )
    ramp_height: Length | None = field(
        "height of the ramp at the lobe, below which the lash is taken up gently",
        "0.017 in",
        plausible_range=("0.02 mm", "2 mm"),
        also=("lash_ramp", "clearance_ramp"),
        rare=True,
    )
    durations: tuple[Duration, ...] = field(
        "durations, one for each lift the card gives", "[{at: 0.050 in, duration: 230 deg}]", default=()
    )


class CamCard(RecordModel):
    """What the maker says."""

    maker: Line | None = field("manufacturer", "Heron Camshafts")
    number: Line | None = field("part number", "HC 230-108")
    grind: Line | None = field("grind", "ground on a billet, hardness checked")
    lobe_separation: OneAngle | None = field(
        "lobe separation in cam degrees",
        "108 deg",
        plausible_range=("90 deg", "130 deg"),
        sign="positive",
        also=("lobe_separation_angle", "lsa"),
    )
    intake: LobeCard | None = field("intake lobes", "")
    exhaust: LobeCard | None = field("exhaust lobes", "")


class Installed(RecordModel):
    """How it went in."""

    intake_centerline: OneAngle | None = field(
        "intake centerline, crank degrees after TDC", "104 deg", plausible_range=("80 deg", "140 deg")
    )
    exhaust_centerline: OneAngle | None = field(
        "exhaust centerline, crank degrees before TDC",
        "112 deg",
        plausible_range=("80 deg", "140 deg"),
        depends_on={"cam.installed.intake_centerline": None},
    )
    note: Line | None = field("how it was set: offset bush, slotted wheel", "offset bush, 4 deg advanced")


class Events(_AtLift):
    """Valve events read from the degree wheel at one lift."""

    at: LiftMark = field("lift the events were read at", "0.050 in", required=True)
    intake_opens: OneAngle | None = field("before TDC", "11 deg", plausible_range=("-60 deg", "130 deg"))
    intake_closes: OneAngle | None = field("after BDC", "39 deg", plausible_range=("-60 deg", "130 deg"))
    exhaust_opens: OneAngle | None = field("before BDC", "47 deg", plausible_range=("-60 deg", "130 deg"))
    exhaust_closes: OneAngle | None = field("after TDC", "3 deg", plausible_range=("-60 deg", "130 deg"))


class EqualLift(RecordModel):
    """Two degree-wheel readings at the same lift on either side of the nose."""

    lift: OneLength = field(
        "lobe lift of both readings", "0.300 in", required=True, plausible_range=("0 mm", "25 mm"), sign="not negative"
    )
    opening: OneAngle = field("degree wheel on the opening side, after TDC", "72 deg", required=True)
    closing: OneAngle = field("degree wheel on the closing side, after TDC", "136 deg", required=True)


class ExhaustEqualLift(EqualLift):
    """The same on the exhaust lobe, which is counted before TDC: the opening side has the larger number."""

    opening: OneAngle = field("degree wheel on the opening side, before TDC", "144 deg", required=True)
    closing: OneAngle = field("degree wheel on the closing side, before TDC", "80 deg", required=True)


class Degreeing(RecordModel):
    """The degree wheel."""

    intake: tuple[EqualLift, ...] = field(
        "intake lobe, both sides of peak lift",
        "",
        default=(),
        depends_on={"cam.card.intake": None, "cam.installed.intake_centerline": None, "cam.card.lobe_separation": None},
    )
    exhaust: tuple[ExhaustEqualLift, ...] = field(
        "exhaust lobe, both sides of peak lift",
        "",
        default=(),
        depends_on={
            "cam.card.exhaust": None,
            "cam.installed.exhaust_centerline": None,
            "cam.card.lobe_separation": None,
        },
    )
    events: tuple[Events, ...] = field(
        "valve events at each lift checked",
        "",
        default=(),
        depends_on={"cam.card": None, "cam.installed": None, "top_end.rockers": None},
    )
    by: Line | None = field("who degreed it", "RT")
    note: Line | None = field("how TDC was found", "positive stop")


class Lifters(RecordModel):
    """Lifters or followers."""

    maker: Line | None = field("manufacturer", "Heron Camshafts")
    number: Line | None = field("part number", "HC-L842")
    kind: LifterKind | None = field("kind", "hydraulic flat tappet")
    mass: Mass | None = field(
        "mass of one lifter", "98 g", plausible_range=("3 g", "3 kg"), only_where="the valve train was weighed"
    )
    intake_shims: Length | None = field(
        "shim of every intake valve, when its lash was measured",
        "{unit: mm, measured: [2.50, 2.55, 2.50, 2.60]}",
        axis="intake valve",
        plausible_range=("0.5 mm", "6 mm"),
        only_where="shims set the lash",
    )
    exhaust_shims: Length | None = field(
        "shim of every exhaust valve, when its lash was measured",
        "{unit: mm, measured: [2.50, 2.55, 2.50, 2.60]}",
        axis="exhaust valve",
        plausible_range=("0.5 mm", "6 mm"),
        only_where="shims set the lash",
    )
    preload_turns: Number | None = field(
        "turns of the adjuster past zero lash", "0.5", plausible_range=("0", "2.5"), sign="not negative"
    )
    adjuster_thread: Line | None = field("thread of the adjuster: 3/8-24 or M8x1", "3/8-24")
    adjuster_at: AdjusterPlace | None = field(
        "what the adjuster moves: the pushrod's end, or the rocker's pivot (a nut on its stud)", "rocker pivot"
    )


DriveKind = Annotated[
    Literal["chain", "belt", "gears"],
    Synonyms(
        {
            "chain": "timing chain, roller chain, double roller chain, double-row chain, duplex chain",
            "belt": "timing belt, toothed belt, cam belt",
            "gears": "gear, timing gears, gear drive, gear train",
        }
    ),
]


class CamDrive(DescribedModel):
    """Cam drive."""

    description: Line | None = field("in words", "double roller, new")
    kind: DriveKind | None = field("kind", "chain")
    maker: Line | None = field("manufacturer", "Heron Camshafts")
    number: Line | None = field("part number", "HC-T9")
    keyway: Line | None = field("keyway, bushing or slot used, as marked", "A4", also=("bushing",))
    offset: OneAngle | None = field(
        "advance by that keyway, bushing or slot, crank degrees; below zero it retards", "4 deg",
        plausible_range=("-20 deg", "20 deg"), also=("cam_offset", "keyway_offset"),
    )  # fmt: skip


class Camshaft(RecordModel):
    """cam.yaml: the cam."""

    card: CamCard | None = field("manufacturer's cam card", "", also=("cam_card",))
    installed: Installed | None = field("as installed", "")
    degreeing: Degreeing | None = field("degree-wheel readings", "")
    lifters: Lifters | None = field("lifters or followers", "", also=("tappets", "followers"))
    drive: CamDrive | None = field(
        "timing set: one line, or the fields of the field reference", "double roller chain",
        also=("timing_set", "cam_drive"),
    )  # fmt: skip
