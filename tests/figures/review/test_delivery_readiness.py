"""Ready for delivery: the shop's own list against the whole record, private parts included."""

from __future__ import annotations

from pathlib import Path

from builder.figures.evaluate import compute
from builder.figures.review.delivery_readiness import Readiness, readiness
from builder.record.models.shop import Shop
from tests.support.figure_records import BUILD, V8, read


def held(archive: Path, requires: list[str], **documents: str) -> Readiness:
    shop = Shop.model_validate({"delivery_requires": requires})
    build = read(archive, {**V8, **documents})
    return readiness(build, shop, compute(build, shop))


def test_what_is_recorded_and_what_is_missing(tmp_path: Path) -> None:
    assembly = "fits: {piston_clearance: {unit: in, allowed: 0.003..0.004}, crank_end_play: {measured: 0.006 in}}\n"
    state = held(
        tmp_path,
        ["assembly.fits.crank_end_play", "assembly.fits.piston_clearance", "assembly.fasteners", "delivery.fluids"],
        assembly=assembly,
    )
    assert not state.ready
    assert [each.path for each in state.present] == ["assembly.fits.crank_end_play"]
    missing = {each.path: each.message for each in state.missing}
    assert "nothing was measured" in missing["assembly.fits.piston_clearance"]
    assert missing["assembly.fasteners"] == "not recorded; write it in assembly.yaml: fasteners"
    assert missing["delivery.fluids"] == "not recorded; write it in delivery.yaml: fluids"
    assert state.present[0].title == "Fits: crank end play"


def test_every_entry_of_a_list_must_have_it(tmp_path: Path) -> None:
    delivery = "signed: [{what: assembled by, who: RT}, {what: looked over by}]\n"
    assert held(tmp_path, ["delivery.signed"], delivery=delivery).ready
    state = held(tmp_path, ["delivery.signed.who"], delivery=delivery)
    assert state.missing[0].message.startswith("not recorded for 2 of 2")


def test_private_parts_count_too(tmp_path: Path) -> None:
    assert not held(tmp_path, ["build.customer.name"]).ready
    named = BUILD + "    customer: {name: An Owner}\n"
    assert held(tmp_path, ["build.customer.name"], build=named).ready


def test_a_document_or_a_section(tmp_path: Path) -> None:
    assert held(tmp_path, ["bottom_end", "bottom_end.block"]).ready
    assert not held(tmp_path, ["delivery"]).ready
    assert not held(tmp_path, ["delivery.settings"], delivery="settings: {}\n").ready


def test_a_path_that_leads_nowhere_is_missing(tmp_path: Path) -> None:
    state = held(tmp_path, ["assembly.fit.piston_clearance", "nonsense"])
    assert len(state.missing) == 2
    assert "shop.yaml" in state.missing[0].message


def test_cautions_do_not_prevent_delivery(tmp_path: Path) -> None:
    assembly = "fits: {crank_end_play: {unit: in, allowed: 0.004..0.008, measured: 0.009}}\n"
    state = held(tmp_path, ["assembly.fits.crank_end_play"], assembly=assembly)
    assert state.ready
    assert any(caution.subject == "crank_end_play" for caution in state.cautions)
