"""assembly.yaml: fits, fasteners and checks."""

from __future__ import annotations

import math

from builder.record.models.fields import (
    Angle,
    AnyReading,
    Count,
    Fraction,
    Length,
    Line,
    Number,
    OneAngle,
    OneLength,
    OneTorque,
    Pressure,
    Prose,
    Ratio,
    RecordModel,
    Torque,
    field,
)

_CROWN = {
    "bottom_end.block.deck_height": 1,
    "bottom_end.crankshaft.stroke": -0.5,
    "bottom_end.rods.length": -1,
    "bottom_end.pistons.compression_height": -1,
}
"""How far the crown comes to stand lower at TDC [m] for each meter of the parts."""
_LIFT = dict.fromkeys(
    (
        *(f"cam.card.{side}.{field}" for side in ("intake", "exhaust") for field in
          ("lobe_lift", "valve_lift", "rocker_ratio", "lash")),
        "assembly.checks.intake_lash", "assembly.checks.exhaust_lash",
        "top_end.rockers.ratio", "top_end.rockers.exhaust_ratio",
    )
)  # fmt: skip
"""What the lift at the valve depends on."""
_TIMING = dict.fromkeys(
    (
        *(f"cam.card.{side}.{field}" for side in ("intake", "exhaust") for field in ("centerline", "durations")),
        "cam.card.lobe_separation", "cam.installed.intake_centerline", "cam.installed.exhaust_centerline",
    )
)  # fmt: skip
"""What the timing of the valves depends on."""
_COMPRESSION = dict.fromkeys(
    (
        *_CROWN, "bottom_end.block.bores", "bottom_end.pistons.dish", "bottom_end.pistons.dome",
        "top_end.heads.chambers", "top_end.gasket.bore", "top_end.gasket.thickness",
    )
)  # fmt: skip
"""What the compression ratio depends on."""


class OtherFit(RecordModel):
    """A fit that has no name of its own here."""

    name: Line = field("item", "oil pump gear end clearance", required=True)
    reading: AnyReading = field(
        "allowed and measured", "{unit: in, allowed: 0.001..0.003, measured: 0.002}", required=True, sign="any"
    )


_CLEARANCE = ("0.008 mm", "0.6 mm")


class Fits(RecordModel):
    """Clearances as assembled. Each may carry allowed, rule, measured, accepted."""

    main_oil_clearance: Length | None = field(
        "main bearings, front to rear",
        "{unit: in, allowed: 0.0022..0.0030, measured: [0.0026, 0.0025, 0.0026, 0.0027, 0.0026]}",
        axis="main",
        plausible_range=_CLEARANCE,
        sign="not negative",
        also=("main_bearing_clearance", "main_clearance"),
        measured=True,
        depends_on={
            "bottom_end.block.main_bores": 1,
            "bottom_end.crankshaft.main_journals": -1,
            "bottom_end.bearings.main_shell": -2,
        },
    )
    rod_oil_clearance: Length | None = field(
        "rod bearings",
        "{unit: in, allowed: 0.0020..0.0028, measured: [0.0024, 0.0023, 0.0024, 0.0024]}",
        axis="cylinder",
        plausible_range=_CLEARANCE,
        sign="not negative",
        also=("rod_bearing_clearance", "big_end_clearance"),
        measured=True,
        depends_on={
            "bottom_end.rods.big_end_bores": 1,
            "bottom_end.crankshaft.rod_journals": -1,
            "bottom_end.bearings.rod_shell": -2,
        },
    )
    cam_oil_clearance: Length | None = field(
        "cam bearings, front to rear",
        "{unit: in, allowed: 0.0015..0.0035, measured: [0.0022, 0.0024, 0.0022]}",
        axis="cam bearing",
        plausible_range=_CLEARANCE,
        sign="not negative",
        also=("cam_bearing_clearance",),
        measured=True,
        depends_on={"bottom_end.block.cam_bores": None},
    )
    main_bearing_crush: Length | None = field(
        "main shells above the parting line, one side",
        "{unit: in, allowed: 0.001..0.002, measured: 0.0015}",
        axis="main",
        plausible_range=("0.005 mm", "0.3 mm"),
        sign="not negative",
        measured=True,
        depends_on={"bottom_end.block.main_bores": None, "bottom_end.bearings.main_shell": None},
    )
    rod_bearing_crush: Length | None = field(
        "rod shells above the parting line, one side",
        "{unit: in, allowed: 0.001..0.002, measured: 0.0015}",
        axis="cylinder",
        plausible_range=("0.005 mm", "0.3 mm"),
        sign="not negative",
        measured=True,
        depends_on={"bottom_end.rods.big_end_bores": None, "bottom_end.bearings.rod_shell": None},
    )
    piston_clearance: Length | None = field(
        "piston to bore at the gauge point",
        "{unit: in, allowed: 0.0035..0.0045, measured: [0.0040, 0.0041, 0.0040, 0.0039]}",
        axis="cylinder",
        plausible_range=("0.005 mm", "0.8 mm"),
        sign="not negative",
        also=("piston_to_wall_clearance", "piston_to_bore_clearance", "skirt_clearance"),
        measured=True,
        depends_on={"bottom_end.block.bores": 1, "bottom_end.pistons.diameter": -1},
    )
    pin_clearance: Length | None = field(
        "pin in piston or rod",
        "{unit: in, allowed: 0.0004..0.0008, measured: [0.0006, 0.0006, 0.0007, 0.0006]}",
        axis="cylinder",
        plausible_range=("0.001 mm", "0.1 mm"),
        sign="any",
        also=("wrist_pin_clearance",),
        measured=True,
        depends_on={"bottom_end.pistons.pin_diameter": None},
    )
    top_ring_gap: Length | None = field(
        "top ring end gap, in its own bore",
        "{unit: in, at_least: 0.018, measured: [0.020, 0.019, 0.020, 0.020]}",
        axis="cylinder",
        plausible_range=("0.05 mm", "3 mm"),
        sign="not negative",
        also=("top_ring_end_gap", "first_ring_gap"),
        measured=True,
        depends_on={"bottom_end.block.bores": math.pi},
    )
    second_ring_gap: Length | None = field(
        "second ring end gap",
        "{unit: in, at_least: 0.020, measured: [0.022, 0.022, 0.023, 0.022]}",
        axis="cylinder",
        plausible_range=("0.05 mm", "3 mm"),
        sign="not negative",
        also=("second_ring_end_gap",),
        measured=True,
        depends_on={"bottom_end.block.bores": math.pi},
    )
    ring_side_clearance: Length | None = field(
        "ring in its groove",
        "{unit: in, allowed: 0.0010..0.0025, measured: 0.0015}",
        axis="cylinder",
        plausible_range=("0.005 mm", "0.3 mm"),
        sign="not negative",
        measured=True,
    )
    crank_end_play: Length | None = field(
        "crankshaft end play",
        "{unit: in, allowed: 0.004..0.008, measured: 0.006, rule: maker's sheet}",
        plausible_range=("0.01 mm", "1 mm"),
        sign="not negative",
        also=("crankshaft_end_play", "crank_thrust_clearance"),
        measured=True,
    )
    rod_side_clearance: Length | None = field(
        "rods on the crankpin",
        "{unit: in, allowed: 0.008..0.014, measured: [0.010, 0.011, 0.010, 0.010]}",
        axis="crankpin",
        plausible_range=("0.03 mm", "1.5 mm"),
        sign="not negative",
        also=("rod_side_play", "big_end_side_clearance"),
        measured=True,
    )
    cam_end_play: Length | None = field(
        "camshaft end play",
        "{unit: in, allowed: 0.002..0.006, measured: 0.004}",
        plausible_range=("0.01 mm", "1 mm"),
        sign="not negative",
        also=("camshaft_end_play", "cam_thrust_clearance"),
        measured=True,
    )
    intake_guide_clearance: Length | None = field(
        "intake valve stem in its guide",
        "{unit: in, allowed: 0.0010..0.0027, measured: [0.0014, 0.0015, 0.0014, 0.0015]}",
        axis="intake valve",
        plausible_range=("0.005 mm", "0.3 mm"),
        sign="not negative",
        also=("intake_valve_guide_clearance", "intake_stem_clearance"),
        measured=True,
    )
    exhaust_guide_clearance: Length | None = field(
        "exhaust valve stem in its guide",
        "{unit: in, allowed: 0.0015..0.0032, measured: [0.0020, 0.0021, 0.0020, 0.0020]}",
        axis="exhaust valve",
        plausible_range=("0.005 mm", "0.3 mm"),
        sign="not negative",
        also=("exhaust_valve_guide_clearance", "exhaust_stem_clearance"),
        measured=True,
    )
    other: tuple[OtherFit, ...] = field("other clearances", "", default=())


class BoltPlace(RecordModel):
    """Where a fastener is in the drawing of the pattern."""

    x: Number = field("to the right, in any unit", "10", required=True, sign="any")
    y: Number = field("upwards, in the same unit", "4", required=True, sign="any")


class Fastener(RecordModel):
    """One joint, as tightened."""

    joint: Line = field("joint", "rod bolts", required=True)
    size: Line | None = field("thread", "7/16-20")
    count: Count | None = field("number of bolts", "16")
    grade: Line | None = field("grade or brand of the bolt", "8740 steel")
    torque: Torque | None = field("final torque", "65 lbf.ft", plausible_range=("0.5 N.m", "2000 N.m"))
    steps: tuple[OneTorque, ...] = field(
        "torque of every step, in order", "[30 lbf.ft, 50 lbf.ft, 65 lbf.ft]", default=()
    )
    angle: OneAngle | None = field(
        "angle after the last torque", "90 deg", plausible_range=("10 deg", "360 deg"), sign="not negative"
    )
    stretch: Length | None = field(
        "stretch, every bolt measured",
        "{unit: in, allowed: 0.0058..0.0062, measured: [0.0060]}",
        plausible_range=("0.01 mm", "1 mm"),
        sign="not negative",
        measured=True,
    )
    shank_length: OneLength | None = field(
        "plain shank length, for clamp load from stretch", "38 mm", plausible_range=("2 mm", "400 mm")
    )
    shank_diameter: OneLength | None = field("diameter of that shank", "8.7 mm", plausible_range=("2 mm", "40 mm"))
    thread_length: OneLength | None = field(
        "free thread length: from the shank to half-way into the nut",
        "9 mm",
        plausible_range=("0 mm", "300 mm"),
        sign="not negative",
    )
    lubricant: Line | None = field("lubricant on threads and under heads", "moly assembly paste")
    threadlocker: Line | None = field("threadlocker", "medium strength", rare=True, also=("thread_lock",))
    sealant: Line | None = field("sealant on the threads", "paste, holes into water", rare=True)
    friction: Number | None = field(
        "coefficient of friction of that lubricant, instead of a nut factor", "0.11", plausible_range=("0.03", "0.4")
    )
    nut_factor: Number | None = field(
        "K of T = K F d, for an estimate of preload", "0.15", plausible_range=("0.06", "0.4")
    )
    sequence: tuple[BoltPlace, ...] = field("positions of the fasteners, in tightening order", "", default=())
    by: Line | None = field("initials", "RT")
    rechecked: Line | None = field("re-checked by, and after what", "AM, after the first heat cycle")
    according_to: Line | None = field("source of the spec", "maker's sheet")
    note: Line | None = field("remarks", "bolts new")

    @property
    def on_threads(self) -> str:
        """What is on its threads, as text: lubricant, threadlocker, sealant."""
        threadlocker = f"threadlocker {self.threadlocker}" if self.threadlocker else None
        return "; ".join(filter(None, (self.lubricant, threadlocker, self.sealant)))


class Seal(RecordModel):
    """One joint that is sealed."""

    joint: Line = field("joint", "rear main", required=True)
    kind: Line | None = field("seal or gasket", "two-piece lip seal")
    maker: Line | None = field("manufacturer", "Sallow & Reed")
    number: Line | None = field("part number", "SR 88")
    sealant: Line | None = field("sealant", "silicone at both ends, the faces dry")
    by: Line | None = field("initials", "RT")
    note: Line | None = field("remarks", "ends offset from the parting line")


class OtherCheck(RecordModel):
    """A check that has no name of its own here."""

    name: Line = field("check", "oil pump pressure relief", required=True)
    reading: AnyReading | None = field("allowed and measured", "{unit: psi, allowed: 55..70, measured: 62}", sign="any")
    found: Line | None = field("finding, if not a number", "opens and closes cleanly")
    verdict: Line | None = field("result", "good")


class Checks(RecordModel):
    """Checks before it leaves."""

    leak_down: Fraction | None = field(
        "cylinder leak-down",
        "{unit: '%', at_most: 10, measured: [6, 7, 6, 8]}",
        axis="cylinder",
        plausible_range=("0 %", "100 %"),
        sign="not negative",
        also=("leakdown", "leak_down_test"),
        measured=True,
        depends_on={"bottom_end.block.bores": None, "assembly.fits.top_ring_gap": None},
    )
    cranking_compression: Pressure | None = field(
        "cranking pressure, throttle open",
        "{unit: psi, measured: [185, 188, 184, 186]}",
        axis="cylinder",
        plausible_range=("20 psi", "700 psi"),
        sign="not negative",
        units=("psi", "bar"),
        also=("cranking_pressure", "compression_test"),
        measured=True,
        depends_on={**_COMPRESSION, **_LIFT, **_TIMING},
    )
    priming_oil_pressure: Pressure | None = field(
        "oil pressure when primed",
        "55 psi",
        plausible_range=("3 psi", "200 psi"),
        sign="not negative",
        units=("psi", "bar"),
        measured=True,
    )
    oil_reached_every_rocker: Line | None = field("seen by", "yes, RT")
    intake_lash: Length | None = field(
        "intake lash as set",
        "0.022 in",
        axis="intake valve",
        plausible_range=("0 mm", "1.2 mm"),
        sign="not negative",
        also=("intake_valve_lash", "intake_valve_clearance"),
        measured=True,
        depends_on={"cam.lifters.intake_shims": -1},
    )
    exhaust_lash: Length | None = field(
        "exhaust lash as set",
        "0.024 in",
        axis="exhaust valve",
        plausible_range=("0 mm", "1.2 mm"),
        sign="not negative",
        also=("exhaust_valve_lash", "exhaust_valve_clearance"),
        measured=True,
        depends_on={"cam.lifters.exhaust_shims": -1},
    )
    lash_when: Line | None = field("hot or cold", "hot")
    intake_piston_to_valve: Length | None = field(
        "minimum intake valve to piston",
        "{unit: in, at_least: 0.080, measured: 0.110}",
        plausible_range=("0.1 mm", "40 mm"),
        sign="not negative",
        also=("intake_valve_to_piston",),
        title="intake piston-to-valve",
        measured=True,
        depends_on={**_LIFT, **_TIMING, **_CROWN, "top_end.gasket.thickness": None},
    )
    exhaust_piston_to_valve: Length | None = field(
        "minimum exhaust valve to piston",
        "{unit: in, at_least: 0.100, measured: 0.135}",
        plausible_range=("0.1 mm", "40 mm"),
        sign="not negative",
        also=("exhaust_valve_to_piston",),
        title="exhaust piston-to-valve",
        measured=True,
        depends_on={**_LIFT, **_TIMING, **_CROWN, "top_end.gasket.thickness": None},
    )
    coil_bind: Length | None = field(
        "spring travel left at full lift",
        "0.140 in",
        plausible_range=("0.1 mm", "30 mm"),
        sign="not negative",
        also=("coil_bind_clearance",),
        measured=True,
        depends_on={
            **_LIFT,
            "top_end.springs.installed_height": None,
            "top_end.springs.exhaust_installed_height": None,
            "top_end.springs.solid_height": None,
        },
    )
    retainer_to_seal: Length | None = field(
        "least retainer to valve seal at full lift",
        "0.070 in",
        plausible_range=("0.1 mm", "30 mm"),
        sign="not negative",
        also=("retainer_to_seal_clearance",),
        measured=True,
        depends_on={
            **_LIFT,
            "top_end.springs.retainer_to_seal": None,
            "top_end.springs.exhaust_retainer_to_seal": None,
        },
    )
    intake_valve_recession: Length | None = field(
        "intake valve below the face of the head",
        "{unit: mm, allowed: 0.7..1.2, measured: [0.9, 0.9, 1.0, 0.9]}",
        axis="intake valve",
        plausible_range=("-3 mm", "6 mm"),
        sign="any",
        measured=True,
        only_where="the engine ignites by compression",
    )
    exhaust_valve_recession: Length | None = field(
        "exhaust valve below the face of the head",
        "{unit: mm, allowed: 0.7..1.2, measured: [0.9, 1.0, 1.0, 0.9]}",
        axis="exhaust valve",
        plausible_range=("-3 mm", "6 mm"),
        sign="any",
        measured=True,
        only_where="the engine ignites by compression",
    )
    liner_protrusion: Length | None = field(
        "liner above the deck",
        "{unit: mm, allowed: 0.03..0.08, measured: [0.05, 0.05, 0.06, 0.05]}",
        axis="cylinder",
        plausible_range=("-0.2 mm", "1 mm"),
        sign="any",
        measured=True,
        only_where="the engine has liners",
    )
    bump_clearance: Length | None = field(
        "piston to head at TDC, by soft wire",
        "{unit: mm, allowed: 0.7..0.9, measured: [0.80, 0.79, 0.81, 0.80]}",
        axis="cylinder",
        plausible_range=("0.2 mm", "5 mm"),
        sign="not negative",
        measured=True,
        only_where="the engine ignites by compression",
        depends_on={**_CROWN, "top_end.gasket.thickness": 1},
    )
    injector_opening_pressure: Pressure | None = field(
        "pressure at which each injector opens",
        "{unit: bar, allowed: 175..185, measured: [180, 181, 180, 179]}",
        axis="cylinder",
        plausible_range=("50 bar", "1000 bar"),
        sign="not negative",
        units=("bar", "psi"),
        measured=True,
        only_where="the engine ignites by compression",
    )
    injection_timing: Angle | None = field(
        "start of injection, crank degrees before TDC",
        "{unit: deg, allowed: 17..19, measured: 18}",
        plausible_range=("-20 deg", "50 deg"),
        sign="any",
        measured=True,
        only_where="the engine ignites by compression",
    )
    smoke: Ratio | None = field(
        "filter smoke number at full load, 0 to 10 (ISO 10054)",
        "{at_most: 2.5, measured: 1.8}",
        plausible_range=("0", "10"),
        sign="not negative",
        measured=True,
        only_where="the engine ignites by compression",
        depends_on={**_COMPRESSION, **_TIMING},
    )
    rotation_torque: Torque | None = field(
        "torque to turn the short block",
        "18 lbf.ft",
        plausible_range=("0.2 N.m", "300 N.m"),
        also=("turning_torque",),
        measured=True,
        depends_on={"bottom_end.block.bores": None, "bottom_end.pistons.diameter": None, "bottom_end.bearings": None},
    )
    other: tuple[OtherCheck, ...] = field("other checks", "", default=())


class Assembly(RecordModel):
    """assembly.yaml: clearances, fasteners, checks."""

    fits: Fits | None = field("clearances as assembled", "")
    fasteners: tuple[Fastener, ...] = field("joints as tightened", "", default=())
    checks: Checks | None = field("final checks", "")
    seals: tuple[Seal, ...] = field(
        "main seals, gaskets and sealants, joint by joint", "", default=(), rare=True,
        title="seals, gaskets and sealants", also=("gaskets", "sealants"),
    )  # fmt: skip
    paint: Line | None = field("paint", "blue enamel, manifolds left bare", rare=True)
    by: Line | None = field("assembled by", "RT")
    note: Prose | None = field("remarks", "Assembled in one go, nothing left for later.")
