"""Rod bolts from a record: load, stress, margin, and the caution of the shop's guideline."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.engine.rod_bolts import rod_bolt_load
from tests.support.figure_records import BOTTOM_END, V8, sheet_of

WEIGHED = BOTTOM_END.replace("rods: {length: 5.700 in}", """rods:
      length: 5.700 in
      mass_big_end: 412 g
      mass_small_end: 168 g
      mass_cap: 128 g
      bolts: {size: 3/8-24, proof_load: 9000 lbf}""").replace(
    "dish: 6.2 cc", "dish: 6.2 cc\n      mass: 512 g\n      pin_mass: 118 g\n      ring_mass: 46 g"
)  # fmt: skip


def test_load_stress_and_margin(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": WEIGHED})
    load = rod_bolt_load(0.512 + 0.118 + 0.046 + 0.168, 0.412, 3.48 * 0.0254, 5.7 * 0.0254, 100.0, 2, 0.128)
    assert sheet.value("rod_bolt_load") == pytest.approx(load)
    margin = sheet.value("rod_bolt_margin")
    assert margin == pytest.approx(9000 * 4.4482216 / load, rel=1e-6)
    assert "rod_bolt_margin" not in {caution.subject for caution in sheet.cautions}


def test_a_small_margin_is_a_caution_that_defers_to_the_manufacturer(tmp_path: Path) -> None:
    weak = WEIGHED.replace("9000 lbf", "3000 lbf")
    cautions = {c.subject: c.text for c in sheet_of(tmp_path, {**V8, "bottom_end": weak}).cautions}
    assert "ask the manufacturer" in cautions["rod_bolt_margin"]


def test_without_a_cap_the_load_is_larger(tmp_path: Path) -> None:
    unweighed = WEIGHED.replace("      mass_cap: 128 g\n", "")
    loads = [
        sheet_of(tmp_path / name, {**V8, "bottom_end": text}).value("rod_bolt_load")
        for name, text in (("with", WEIGHED), ("without", unweighed))
    ]
    assert loads[1] > loads[0]


BALANCED = WEIGHED.replace(
    "crankshaft:\n",
    "balance: {imbalance: {unit: oz.in, measured: [0.15, 0.21]}}\n    crankshaft:\n      mass: 24.5 kg\n",
)


def test_imbalance_of_both_ends_against_the_crankshaft(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": BALANCED})
    total = 0.36 * 0.028349523125 * 0.0254
    assert sheet.value("balance_grade") == pytest.approx(total / 24.5 * 2 * 3.141592653589793 * 100)
    assert "balance" not in {caution.name for caution in sheet.cautions}
    rough = BALANCED.replace("0.15, 0.21", "0.55, 0.61")
    (caution,) = (item for item in sheet_of(tmp_path, {**V8, "bottom_end": rough}).cautions if item.name == "balance")
    assert "from memory" in caution.guideline
