"""Ten figures drawn at random from the catalog, each from a whole record against a calculation made another way.

Drawn with a fixed seed from all figures that are not readings as they stand. The other way is named with each: a search
or an integral by SciPy, the real gas of CoolProp, a balance of energy; none uses the formula that the figure shows.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from tests.support.dyno_figures import METRIC
from tests.support.dyno_samples import RPM, log_of, one_pull, torque_curve, write_build
from tests.support.figure_records import BOTTOM_END, BUILD, CAM, TOP_END, V8, sheet_of

INCH, POUND_FORCE, MM = 0.0254, 4.4482216152605, 1e-3


def _dyno_sheet(archive: Path, top_end: str = "{}\n", induction: str = "natural", **log: np.ndarray) -> FigureSheet:
    """Return the figures of a four on the dyno: 100 kPa, 20 degC, gasoline of 43.2 MJ/kg and 14.6 of air."""
    logs = {"a.csv": log_of(**log)}
    build, _ = write_build(archive, one_pull(), logs, induction=induction)
    (build.folder / "top_end.yaml").write_text(top_end)
    return compute(write_build(archive, one_pull(), logs, induction=induction)[0], METRIC)


def _watts(rpm: float) -> float:
    """Return the power of the log at a speed [W]."""
    return float(torque_curve(np.array(rpm))) * 2 * math.pi * rpm / 60


def test_saturation_vapor_pressure(tmp_path: Path) -> None:
    """Water at 20 degC by IAPWS-95 (CoolProp): 2339 Pa."""
    found = _dyno_sheet(tmp_path).value("saturation_vapor_pressure")
    assert found == pytest.approx(PropsSI("P", "T", 293.15, "Q", 0, "Water"), rel=1e-3)


def test_restrictor_efficiency(tmp_path: Path) -> None:
    """Most mass flux of real air that expands without loss (CoolProp), the heat of gasoline, the log's power."""
    enthalpy, entropy = (PropsSI(name, "T", 293.15, "P", 100e3, "Air") for name in "HS")

    def flux(throat: float) -> float:
        density, inside = (PropsSI(name, "P", throat, "S", entropy, "Air") for name in "DH")
        return float(density * math.sqrt(2 * (enthalpy - inside)))

    most = -minimize_scalar(lambda throat: -flux(throat), bounds=(40e3, 90e3), method="bounded").fun
    power = -minimize_scalar(lambda rpm: -_watts(rpm), bounds=(2000, 6000), method="bounded").fun
    heat = 0.97 * math.pi * 17e-3**2 * most / 14.6 * 43.2e6
    top_end = "induction: {restrictor_diameter: 34 mm, restrictor_coefficient: 0.97}\n"
    found = _dyno_sheet(tmp_path, top_end).value("restrictor_efficiency")
    assert found == pytest.approx(power / heat, rel=5e-3)


def test_blowdown(tmp_path: Path) -> None:
    """Crank angles at which the crown passes each roof, by a search on the circle that the rod's end moves on."""
    record = {
        "build": BUILD.replace("cylinders: 8", "cylinders: 1\n      cycle: two-stroke").replace("layout: V", ""),
        "bottom_end": "block: {bores: 54.00 mm}\ncrankshaft: {stroke: 54.50 mm}\nrods: {length: 110.00 mm}\n"
        "deck_clearance: 0.00 mm\n",
        "ports": "exhaust: {roof: 26.55 mm, width: 37.0 mm}\ntransfer: {count: 4, roof: 38.20 mm, width: 16.5 mm}\n",
    }

    def pin_above(crank: float, height: float) -> float:
        """Return how much longer than the rod a pin at this height is from the crankpin [mm]."""
        return math.hypot(27.25 * math.sin(crank), height - 27.25 * math.cos(crank)) - 110.0

    def opens(roof: float) -> float:
        return math.degrees(brentq(pin_above, 0.1, math.pi - 0.1, args=(137.25 - roof,)))

    assert sheet_of(tmp_path, record).value("blowdown") == pytest.approx(opens(38.20) - opens(26.55), abs=1e-6)


def test_brake_thermal_efficiency(tmp_path: Path) -> None:
    """Balance of energy: 250 g of fuel with 43.2 MJ/kg for each kilowatt hour, which is 3.6 MJ."""
    kilowatts = np.array([_watts(rpm) for rpm in RPM]) / 1e3
    sheet = _dyno_sheet(tmp_path, **{"Fuel flow (kg/h)": 0.250 * kilowatts})
    assert sheet.value("brake_thermal_efficiency") == pytest.approx(3.6 / (0.250 * 43.2), rel=2e-3)


def test_lobe_separation(tmp_path: Path) -> None:
    """Two lobes of one shape with their noses 104 after and 114 before TDC: 218 crank degrees, 109 on the cam."""

    def lift(angle: float, nose: float) -> float:
        return 0.335 * math.cos(math.radians(angle - nose) / 280 * 180) ** 2

    def where(nose: float, side: int) -> float:
        return float(brentq(lambda angle: lift(angle, nose) - 0.200, nose, nose + side * 139))

    intake, exhaust = ([where(nose, side) for side in (-1, 1)] for nose in (104.0, -114.0))
    wheel = (
        CAM + "    degreeing:\n"
        f"      intake: [{{lift: 0.200 in, opening: {intake[0]:.6f} deg, closing: {intake[1]:.6f} deg}}]\n"
        f"      exhaust: [{{lift: 0.200 in, opening: {-exhaust[0]:.6f} deg, closing: {-exhaust[1]:.6f} deg}}]\n"
    )
    found = sheet_of(tmp_path, {**V8, "cam": wheel}).value("lobe_separation")
    assert found == pytest.approx((114 + 104) / 2, abs=1e-4)


def test_exhaust_seat_pressure_of_each_spring(tmp_path: Path) -> None:
    """Hooke's law (Shigley, springs): the straight line of NumPy's polyfit through the tester's two readings."""
    springs = """
    springs:
      installed_height: 1.800 in
      exhaust_installed_height: {unit: in, measured: [1.785, 1.790, 1.810]}
      tested: [{height: 1.800 in, load: 125 lbf}, {height: 1.300 in, load: 300 lbf}]
"""
    line = np.polyfit([1.800, 1.300], [125, 300], 1)
    sheet = sheet_of(tmp_path, {**V8, "top_end": TOP_END + springs})
    found = [position.value / POUND_FORCE for position in sheet["exhaust_seat_load_each"].positions]
    np.testing.assert_allclose(found, np.polyval(line, [1.785, 1.790, 1.810]))


def test_intake_duration(tmp_path: Path) -> None:
    """Degrees of two turns in which the valve is open, counted in hundredths from the events of the degree wheel."""
    wheel = CAM + "    degreeing:\n      events: [{at: 0.050 in, intake_opens: 11.5 deg, intake_closes: 40.25 deg}]\n"
    crank = np.arange(-360, 360, 0.01) + 0.005  # 0 is TDC of the overlap
    counted = np.count_nonzero((crank > -11.5) & (crank < 180 + 40.25)) * 0.01
    assert sheet_of(tmp_path, {**V8, "cam": wheel}).value("intake_open") == pytest.approx(counted, abs=0.02)


def test_clearance_volume_for_a_target_ratio(tmp_path: Path) -> None:
    """The volume at which the whole cylinder over the clearance is 10.4, by a search."""
    build = BUILD.replace("red_line: 6000 rpm", "red_line: 6000 rpm\n      compression_wanted: 10.4")
    bores = BOTTOM_END[BOTTOM_END.index("4.0305") : BOTTOM_END.index("]}")]
    swept = np.mean([math.pi / 4 * (float(bore) * INCH) ** 2 * 3.480 * INCH for bore in bores.split(",")])
    wanted = brentq(lambda volume: (swept + volume) / volume - 10.4, 1e-6, 1e-3)
    assert sheet_of(tmp_path, {**V8, "build": build}).value("clearance_volume_wanted") == pytest.approx(
        wanted, rel=1e-9
    )


def test_pressure_ratio(tmp_path: Path) -> None:
    """The same air at the same temperature (CoolProp): density at 100 kPa outside and 60 kPa of boost, to 0.1 %."""
    outside, inside = (PropsSI("D", "T", 293.15, "P", pressure, "Air") for pressure in (100e3, 160e3))
    sheet = _dyno_sheet(tmp_path, induction="turbo", **{"Boost (kPa)": np.full(RPM.shape, 60.0)})
    assert sheet.value("pressure_ratio") == pytest.approx(inside / outside, rel=1e-3)


def test_mean_runner_velocity(tmp_path: Path) -> None:
    """The piston's exact speed at 6000 rpm over the induction stroke by quadrature, times bore over runner."""
    crank, rod, turn = 3.480 / 2 * INCH, 5.700 * INCH, 2 * math.pi * 100

    def speed(angle: float) -> float:
        swing = math.sqrt(rod**2 - (crank * math.sin(angle)) ** 2)
        return crank * turn * math.sin(angle) * (1 + crank * math.cos(angle) / swing)

    mean = quad(speed, 0, math.pi)[0] / math.pi
    manifold = "    induction: {manifold: {kind: dual plane, runner_area: 2.25 sq in}}\n"
    found = sheet_of(tmp_path, {**V8, "top_end": TOP_END + manifold}).value("mean_runner_velocity")
    bore = 4.03047  # mean of the eight, in
    assert found == pytest.approx(mean * math.pi / 4 * bore**2 / 2.25, rel=1e-4)
