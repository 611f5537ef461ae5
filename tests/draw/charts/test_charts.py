"""Each drawing by itself: what it must show, what it says, and what it refuses."""

from __future__ import annotations

import math
from collections.abc import Callable
from xml.etree.ElementTree import Element

import numpy as np
import pytest

from builder.draw.charts.channels import Channel, Channels, Trace, channels
from builder.draw.charts.comparison import (
    GainCurve,
    Level,
    SettingSweep,
    SignificantRange,
    gain_curve,
    setting_sweep,
)
from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.charts.piston_speed import PistonSpeed, piston_speed
from builder.draw.charts.positions import BoreMap, BoreReadings, Position, Positions, bore_map, positions
from builder.draw.charts.scatter import Dot, Scatter, scatter
from builder.draw.charts.tightening import TighteningPattern, tightening_pattern
from builder.draw.charts.valve_timing import (
    Event,
    RingArc,
    TimingRing,
    ValveCurve,
    ValveTiming,
    timing_ring,
    valve_timing,
)
from builder.draw.drawing import Drawing
from builder.draw.formula import formula
from builder.draw.style import ACCENT, CAUTION, NARROW, WIDE, Size
from tests.support.svg import path_points

Labels = Callable[[Drawing], list]
Trouble = Callable[[Drawing], list[str]]
SVG = "{http://www.w3.org/2000/svg}"
NAN = math.nan
SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])


def texts(made: Drawing, labels_of: Labels) -> list[str]:
    return [label.text for label in labels_of(made)]


# The deck stack-up


def test_a_short_piston_is_shown_against_its_listing(labels_of: Labels) -> None:
    # 9.651 - (1.89 + 6 + 1.661) = 0.100 below the deck; as listed it would have been level. With a gasket of
    # 0.027 the quench is 0.127. (Sums, by hand.)
    data = StackUp("in", 1.89, 6.0, 1.661, 9.651, 4.09, 0.027, None, 1.761)
    made = stack_up(data)
    shown = texts(made, labels_of)
    assert {"0.100 in", "0.027 in", "0.127 in", "listed 1.761 in", "level"} <= set(shown)
    assert "the crown stands 0.100 in below the deck" in made.description
    assert "the quench is 0.127 in" in made.description
    assert "level with the deck" in made.description
    assert f'stroke="{CAUTION}"' in made.svg
    assert CAUTION not in stack_up(StackUp("in", 1.89, 6.0, 1.761, 9.651, 4.09)).svg.split("</style>")[1]


def test_the_section_is_to_scale(read_svg: Callable[[Drawing], Element]) -> None:
    drawing = stack_up(StackUp("mm", 43.0, 144.0, 30.2, 217.5, 86.0, 1.2))
    lines = [line for e in read_svg(drawing).iter(f"{SVG}path") for line in path_points(e.get("d", ""))]
    # The upright lines of two points are those of the dimensions.
    lengths = [abs(line[1][1] - line[0][1]) for line in lines if len(line) == 2 and line[0][0] == line[1][0]]
    ratios = {round(b / a, 2) for a in lengths for b in lengths if a > 20}
    assert round(144.0 / 43.0, 2) in ratios
    assert round(217.5 / 144.0, 2) in ratios


def test_a_proud_piston_and_a_measured_deck_clearance(labels_of: Labels, trouble: Trouble) -> None:
    made = stack_up(StackUp("mm", 43.0, 144.0, 30.2, 217.0, 86.0, 1.2, deck_clearance=-0.25, decimals=2))
    assert "0.25 mm above the deck" in made.description
    assert "Crown above deck" in texts(made, labels_of)
    assert trouble(made) == []


@SIZES
@pytest.mark.parametrize(
    "data",
    [
        StackUp("in", 0.5, 1.9, 0.6, 3.0, 1.2, 0.01),  # a small single
        StackUp("mm", 600.0, 2400.0, 700.0, 3700.0, 900.0, 3.0, decimals=1),  # a ship's
        StackUp("in", 1.75, 6.0, 1.46, 9.21, 4.0),  # no gasket, level
        StackUp("in", 1.75, 6.0, 1.46, 9.21, 0.1, 0.04),  # a bore far too small
        StackUp("in", 1.75, 6.0, 1.46, 9.21, 40.0, 0.04),  # far too large
        StackUp("in", 1.75, 6.0, 4.9, 9.2, 4.0, 0.04, None, 0.4),  # nonsense, but drawable
    ],
)
def test_any_stack_up_keeps_its_labels_apart(data: StackUp, size: Size, trouble: Trouble) -> None:
    assert trouble(stack_up(data, size=size)) == []


@pytest.mark.parametrize("bad", [0.0, -1.0, NAN, math.inf])
def test_a_length_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="rod must be a length above nought"):
        stack_up(StackUp("in", 1.75, bad, 1.46, 9.2, 4.0))
    with pytest.raises(ValueError, match="bore"):
        stack_up(StackUp("in", 1.75, 6.0, 1.46, 9.2, bad))


# Valve timing


def lobe(centre: float, wide: float = 300.0, most: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    angle = np.linspace(centre - wide / 2, centre + wide / 2, 61)
    return angle, most * np.cos((angle - centre) / wide * np.pi) ** 2


def test_valve_timing_says_that_the_shape_is_approximate(labels_of: Labels) -> None:
    data = ValveTiming(ValveCurve("Exhaust", *lobe(-116)), ValveCurve("Intake", *lobe(104, most=0.618)), "in")
    made = valve_timing(data)
    assert "approximate" in " ".join(texts(made, labels_of))
    assert made.description.endswith("approximate.")
    assert "Intake: most lift 0.618 in at 104 degrees" in made.description


@SIZES
def test_one_valve_alone_and_lobes_apart_are_drawn(size: Size, trouble: Trouble) -> None:
    alone = ValveTiming(ValveCurve("Exhaust", [], []), ValveCurve("Intake", *lobe(104)), "mm", 1.0, "at 1 mm")
    assert trouble(valve_timing(alone, size=size)) == []
    apart = ValveTiming(ValveCurve("Exhaust", *lobe(-300, 100)), ValveCurve("Intake", *lobe(300, 100)), "mm")
    assert trouble(valve_timing(apart, size=size)) == []
    gap = ValveTiming(ValveCurve("Exhaust", [0, 10, 20], [0, NAN, 1]), ValveCurve("Intake", [5.0], [0.2]), "mm")
    assert trouble(valve_timing(gap, size=size)) == []


def test_no_valve_lift_is_refused() -> None:
    with pytest.raises(ValueError, match="no known point of valve lift"):
        valve_timing(ValveTiming(ValveCurve("E", [], []), ValveCurve("I", [1.0], [NAN]), "mm"))
    with pytest.raises(ValueError, match="do not pair"):
        valve_timing(ValveTiming(ValveCurve("E", [1, 2], [1]), ValveCurve("I", *lobe(100)), "mm"))


def test_events_stand_on_the_ring_clockwise_from_the_top(read_svg: Callable[[Drawing], Element]) -> None:
    arc = RingArc("Intake", Event(0, "at TDC"), Event(90, "at 90°"))
    made = timing_ring(TimingRing((arc,)))
    uses = list(read_svg(made).iter(f"{SVG}use"))
    spots = [(float(u.get("x", 0)), float(u.get("y", 0))) for u in uses]
    centre = made.width / 2, made.height / 2
    (x0, y0), (x1, y1) = spots[:2]
    assert x0 == pytest.approx(centre[0], abs=0.1)  # straight up
    assert y0 < centre[1]
    assert x1 > centre[0]  # to the right
    assert y1 == pytest.approx(centre[1], abs=0.1)


@SIZES
@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_rings_of_several_ports(count: int, size: Size, trouble: Trouble) -> None:
    arcs = tuple(
        RingArc(
            f"Port {i}", Event(92 + 8 * i, f"{92 + 8 * i}°"), Event(-92 - 8 * i, f"{268 - 8 * i}°"), f"{176 - 16 * i}°"
        )
        for i in range(count)
    )
    assert trouble(timing_ring(TimingRing(arcs, "port edge"), size=size)) == []


def test_rings_that_cannot_be_drawn_are_refused() -> None:
    arc = RingArc("Intake", Event(0, ""), Event(NAN, ""))
    with pytest.raises(ValueError, match="no valve event"):
        timing_ring(TimingRing(()))
    with pytest.raises(ValueError, match="must be numbers"):
        timing_ring(TimingRing((arc,)))
    with pytest.raises(ValueError, match="six do"):
        timing_ring(TimingRing((arc,) * 7))


# Piston speed


@SIZES
@pytest.mark.parametrize("values", [[3.0], [0.0, 0.0], [1e-6, 2e-6], [1e9, -1e9], [NAN, 5.0], [-3.0, -1.0]])
def test_any_piston_speed(values: list[float], size: Size, trouble: Trouble) -> None:
    angle = np.linspace(0, 180, len(values))
    assert trouble(piston_speed(PistonSpeed(angle, values, "m/s", "6,000 rpm", 2.0), size=size)) == []


def test_piston_speed_tells_its_greatest_and_mean() -> None:
    made = piston_speed(PistonSpeed([0, 76, 180], [0, 24.96, 0], "m/s", "6,000 rpm", 15.3))
    assert "greatest 25.0 m/s at 76 degrees" in made.description
    assert "mean 15.3 m/s" in made.description
    with pytest.raises(ValueError, match="no known point"):
        piston_speed(PistonSpeed([], [], "m/s", "6,000 rpm"))


# Positions and bores


def strip(
    values: list[float], low: float | None = None, high: float | None = None, odd: int | None = None
) -> Positions:
    at = tuple(Position(str(i + 1), v) for i, v in enumerate(values))
    return Positions("Oil clearance", "in", at, low, high, odd, decimals=4)


def test_out_of_range_is_another_marker_and_is_told(read_svg: Callable[[Drawing], Element]) -> None:
    made = positions(strip([0.0024, 0.0031, 0.0025], 0.002, 0.003, 1))
    assert "Out of range: 2. 2 is the odd one out." in made.description
    assert "Allowed 0.0020 to 0.0030 in" in made.description
    looks = [{**outer.attrib, **e.attrib} for outer in read_svg(made).iter() for e in outer if e.tag == f"{SVG}use"]
    hollow = [e for e in looks if e["fill"] == "none"]
    assert {e["stroke"] for e in hollow} == {CAUTION, ACCENT}  # the diamond, and the ring around it
    assert len(hollow) == 2
    good = positions(strip([0.0024, 0.0025], 0.002, 0.003))
    assert "None is out of range." in good.description


def test_a_value_on_the_limit_is_within() -> None:
    assert "None is out of range" in positions(strip([0.002, 0.003], 0.002, 0.003)).description


@SIZES
@pytest.mark.parametrize(
    "data",
    [
        strip([0.0025]),
        strip([0.0025] * 8),
        strip([0.0025] * 8, 0.0025, 0.0025),
        strip([NAN, 0.002, NAN, 0.003]),
        strip([0.002, 0.0031], high=0.003),
        strip([0.002, 0.0031], low=0.0025, odd=0),
        strip([0.001 + 0.0001 * (i % 7) for i in range(48)], 0.0012, 0.0014, 17),
        strip([1e-12, 5e-12]),
        strip([1e12, 5.0]),
        strip([-5.0, 5.0], -1, 1),
    ],
)
def test_any_positions(data: Positions, size: Size, trouble: Trouble) -> None:
    assert trouble(positions(data, size=size)) == []


def test_positions_without_values_are_refused() -> None:
    with pytest.raises(ValueError, match="no position has a value"):
        positions(strip([NAN, math.inf]))
    with pytest.raises(ValueError, match="no position has a value"):
        positions(strip([]))
    with pytest.raises(ValueError, match="not among 2"):
        positions(strip([1.0, 2.0], odd=2))


def test_taper_and_out_of_round_are_the_largest_differences() -> None:
    # By hand: down the first axis 4.0305-4.0301 = 0.0004, down the second 0.0002; across at most 0.0003.
    bore = BoreReadings("Cyl 1", [[4.0301, 4.0304], [4.0303, 4.0305], [4.0305, 4.0306]])
    made = bore_map(BoreMap("in", ("Top", "Middle", "Bottom"), ("Along", "Across"), (bore,)))
    assert "Cyl 1: 4.0301 to 4.0306, taper 0.0004, out of round 0.0003." in made.description


@SIZES
@pytest.mark.parametrize("count", [1, 3, 8, 16])
def test_any_number_of_bores(count: int, size: Size, trouble: Trouble) -> None:
    bores = tuple(BoreReadings(f"Cyl {i + 1}", [[80.01, NAN], [80.02, 80.02 + i / 1e3]]) for i in range(count))
    data = BoreMap("mm", ("20 mm down", "60 mm down"), ("Thrust", "Pin"), bores, 80.0, 80.02, 3)
    assert trouble(bore_map(data, size=size)) == []


def test_bores_that_do_not_fit_their_depths_are_refused() -> None:
    with pytest.raises(ValueError, match="readings are 1 by 3, depths and axes 2 by 1"):
        bore_map(BoreMap("mm", ("a", "b"), ("x",), (BoreReadings("Cyl 1", [[1, 2, 3]]),)))
    with pytest.raises(ValueError, match="no bore was measured"):
        bore_map(BoreMap("mm", ("a",), ("x",), (BoreReadings("Cyl 1", [[NAN]]),)))
    with pytest.raises(ValueError, match="no bore was measured"):
        bore_map(BoreMap("mm", ("a",), ("x",), ()))


# Changes


def test_what_exceeds_the_noise_is_drawn_heavy_and_told(read_svg: Callable[[Drawing], Element]) -> None:
    speed = np.arange(2500.0, 5001.0, 100)
    gain = np.where(speed < 3500, 0.5, 8.0)
    made = gain_curve(GainCurve("Gain", "lbf ft", speed, gain, 2.0, (SignificantRange(3500, 5000, "worth 8"),)))
    heavy = [e for e in read_svg(made).iter() if e.get("stroke-width") == "3.4"]
    assert heavy
    assert "More than the noise from 3,500 to 5,000 rpm (worth 8)." in made.description
    plain = gain_curve(GainCurve("Gain", "lbf ft", speed, gain, 20.0))
    assert "Nowhere more than the noise." in plain.description
    assert not [e for e in read_svg(plain).iter() if e.get("stroke-width") == "3.4"]
    assert "noise" not in gain_curve(GainCurve("Gain", "lbf ft", speed, gain)).description


@SIZES
@pytest.mark.parametrize(
    "data",
    [
        GainCurve("Gain", "N m", [3000], [5.0], 1.0),
        GainCurve("Gain", "N m", [3000, 4000, 5000], [0, 0, 0], 0.0),
        GainCurve("Gain", "N m", [3000, 4000, 5000], [NAN, 2, NAN], [1, NAN, 1]),
        GainCurve("Gain", "N m", [3000, 4000], [-1e9, 1e9], 1.0),
        GainCurve(
            "Gain", "N m", np.arange(2000, 6000, 50), np.sin(np.arange(80) / 5), 0.5,
            tuple(SignificantRange(2000 + 300 * i, 2200 + 300 * i, f"worth {i}.{i} N m") for i in range(9)),
        ),
    ],
)  # fmt: skip
def test_any_gain(data: GainCurve, size: Size, trouble: Trouble) -> None:
    assert trouble(gain_curve(data, size=size)) == []


def test_a_gain_without_points_is_refused() -> None:
    with pytest.raises(ValueError, match="no known point"):
        gain_curve(GainCurve("Gain", "N m", [], []))
    with pytest.raises(ValueError, match="3 values of noise for 2 speeds"):
        gain_curve(GainCurve("Gain", "N m", [1, 2], [1, 2], [1, 2, 3]))


def test_the_sweep_names_an_optimum_only_if_given_one(labels_of: Labels) -> None:
    levels = (Level(28, 398), Level(31, 409), Level(34, 412))
    a, b, c = np.polyfit([28, 31, 34], [398, 409, 412], 2)
    best = -b / (2 * a)
    named = setting_sweep(SettingSweep("Advance", "°", "Power", "hp", levels, (a, b, c), best))
    assert f"best {best:.1f}°" in texts(named, labels_of)
    assert f"highest at {best:.1f}°" in named.description
    rising = setting_sweep(SettingSweep("Advance", "°", "Power", "hp", levels, (a, b, c), verdict="Still rising."))
    assert not any("best" in t for t in texts(rising, labels_of))
    assert "highest" not in rising.description
    assert "Still rising." in rising.description
    assert "28° gave 398 hp, 31° gave 409 hp and 34° gave 412 hp" in rising.description


@SIZES
@pytest.mark.parametrize(
    "levels",
    [
        (Level(70, 400, "Pull 1"),),
        tuple(Level(70, 400 + i, f"Pull {i}", i) for i in range(4)),
        tuple(Level(60 + i, 400.0, f"Pull {i}", i) for i in range(12)),
        (Level(1e-6, 1e9), Level(2e-6, 2e9), Level(NAN, 1.0)),
    ],
)
def test_any_sweep(levels: tuple[Level, ...], size: Size, trouble: Trouble) -> None:
    assert trouble(setting_sweep(SettingSweep("Jet", "", "Torque", "N m", levels, None, 71), size=size)) == []


def test_a_sweep_without_levels_is_refused() -> None:
    with pytest.raises(ValueError, match="no level with a result"):
        setting_sweep(SettingSweep("Jet", "", "Torque", "N m", (Level(70, NAN),)))


# Channels


@SIZES
def test_any_channels(size: Size, trouble: Trouble) -> None:
    some = (
        Channel("Level", "V", (Trace("Pull 1", [1000, 2000], [5, 5]),), 5, 5),
        Channel("One point", "V", (Trace("Pull 1", [1500], [5]),)),
        Channel("Gap", "V", (Trace("Pull 2", [1000, 1500, 2000], [1, NAN, 3], 1),), None, 2),
        Channel("Nothing", "V", (Trace("Pull 1", [1000], [NAN]),)),
        Channel("Huge", "V", (Trace("Pull 3", [1000, 2000], [1e12, 2e12], 2),), 0),
    )
    made = channels(Channels(some), size=size)
    assert trouble(made) == []
    assert "Nothing" not in made.description
    assert "Guideline 2.00 V or less" in made.description


def test_channels_without_points_are_refused() -> None:
    with pytest.raises(ValueError, match="no channel"):
        channels(Channels(()))
    with pytest.raises(ValueError, match="no channel"):
        channels(Channels((Channel("Empty", "V", (Trace("Pull 1", [], []),)),)))


# Fasteners


@SIZES
@pytest.mark.parametrize(
    "at",
    [
        ((0.0, 0.0),),
        ((0.0, 0.0), (1.0, 0.0)),
        ((0.0, 0.0), (0.0, 900.0)),
        tuple((float(i % 2), float(i)) for i in range(30)),
        tuple((math.cos(i * 2.4) * 50, math.sin(i * 2.4) * 50) for i in range(20)),
    ],
)
def test_any_pattern(at: tuple[tuple[float, float], ...], size: Size, trouble: Trouble) -> None:
    made = tightening_pattern(TighteningPattern("Flange", at, "front", "rear", "In two steps."), size=size)
    assert trouble(made) == []


def test_the_pattern_is_numbered_in_its_order_with_y_upwards(labels_of: Labels) -> None:
    made = tightening_pattern(TighteningPattern("Cap", ((0, 0), (10, 0), (0, 5))))
    at = {label.text: ((label.left + label.right) / 2, (label.top + label.bottom) / 2) for label in labels_of(made)}
    assert at["1"][0] < at["2"][0]
    assert at["3"][1] < at["1"][1]
    assert "1 lower left, 2 lower right, 3 upper left" in made.description


def test_patterns_without_positions_are_refused() -> None:
    with pytest.raises(ValueError, match="no fastener"):
        tightening_pattern(TighteningPattern("Cap", ()))
    with pytest.raises(ValueError, match="position in numbers"):
        tightening_pattern(TighteningPattern("Cap", ((0.0, NAN),)))


# Many builds


def many(count: int, href: str = "../builds/{}/") -> Scatter:
    dots = tuple(Dot(8 + i % 7, 150 + (i * 37) % 50, f"Build {i}", href.format(i), i % 5) for i in range(count))
    return Scatter("Compression ratio", ":1", "Bmep", "psi", dots, ("Marine", "Racing", "Road", "Farm", "Other"))


def test_every_point_leads_to_its_build(read_svg: Callable[[Drawing], Element]) -> None:
    data = many(12)
    made = scatter(data)
    links = list(read_svg(made).iter(f"{SVG}a"))
    assert {a.get("href") for a in links} == {d.href for d in data.dots}
    first = next(a for a in links if a.get("href") == "../builds/1/")
    words = "Build 1: compression ratio 9.00:1, bmep 187 psi"
    assert first.get("aria-label") == words
    assert [e.text for e in first.iter(f"{SVG}title")] == [words]


def test_the_link_is_at_its_own_point(read_svg: Callable[[Drawing], Element]) -> None:
    data = Scatter("a", "", "b", "", (Dot(0, 0, "low", "low/"), Dot(10, 5, "high", "high/"), Dot(5, 9, "top", "top/")))
    at = {a.get("href"): next(a.iter(f"{SVG}use")) for a in read_svg(scatter(data)).iter(f"{SVG}a")}
    xs = {k: float(u.get("x", 0)) for k, u in at.items()}
    ys = {k: float(u.get("y", 0)) for k, u in at.items()}
    assert xs["low/"] < xs["top/"] < xs["high/"]
    assert ys["top/"] < ys["high/"] < ys["low/"]


@SIZES
@pytest.mark.parametrize("count", [1, 5, 40, 300])
def test_any_number_of_builds(count: int, size: Size, trouble: Trouble) -> None:
    assert trouble(scatter(many(count), size=size)) == []


def test_builds_on_one_spot_and_years(trouble: Trouble, labels_of: Labels) -> None:
    dots = tuple(Dot(2019 + i // 6, 1.5, f"Build {i}", "") for i in range(12))
    made = scatter(Scatter("Year", "", "Output", "kW/L", dots, whole_x=True))
    assert trouble(made) == []
    assert "2,019" not in made.svg
    assert "2019" in texts(made, labels_of)


@SIZES
def test_every_build_is_named_and_no_name_is_cut(size: Size, trouble: Trouble, labels_of: Labels) -> None:
    names = [f"Engine number {i} for a boat that is moored at the outermost pier" for i in range(9)]
    # Seven in one crowd, one of them twice on a spot, and two by themselves.
    dots = [Dot(9 + 0.02 * i, 150 + 0.1 * i, name) for i, name in enumerate(names[:7])]
    dots += [Dot(9, 150, "The same spot"), Dot(12, 190, names[7]), Dot(14, 160, names[8])]
    made = scatter(Scatter("Compression ratio", ":1", "Bmep", "psi", tuple(dots)), size=size)
    assert trouble(made) == []
    assert "…" not in made.svg
    told = " ".join(texts(made, labels_of))
    for word in ("same spot", *(f"number {i}" for i in range(9))):
        assert word in told


def test_builds_without_both_values_are_left_out() -> None:
    dots = (Dot(1, NAN, "a"), Dot(NAN, 1, "b"), Dot(1, 1, "c"))
    assert scatter(Scatter("x", "", "y", "", dots)).description.startswith("One build")
    with pytest.raises(ValueError, match="no build has both"):
        scatter(Scatter("x", "", "y", "", dots[:2]))


# Formulas


def test_a_formula_is_outlines_in_the_colour_of_its_text(read_svg: Callable[[Drawing], Element]) -> None:
    made = formula(r"\frac{\pi}{4} B^2 S", "pi/4 times bore squared times stroke")
    tree = read_svg(made)
    assert not list(tree.iter(f"{SVG}text"))
    assert tree.get("fill") == "currentColor"
    assert made.description == "pi/4 times bore squared times stroke"
    assert made.height < 60


@pytest.mark.parametrize("tex", ["", "  ", r"\frac{1", r"\nosuchcommand{x}"])
def test_a_formula_that_cannot_be_set_is_refused(tex: str) -> None:
    with pytest.raises(ValueError, match="formula"):
        formula(tex, "plain")
