"""The shop's profile: which of its fields pages depend on."""

from __future__ import annotations

from builder.record.models.shop import Shop, page_relevant


def test_pages_depend_on_the_fields_of_the_shop_that_they_show() -> None:
    shop = Shop(name="Test shop", guidelines={"least_quench": "0.035 in"})
    same = Shop(name="Test shop", guidelines={"least_quench": "0.035 in"}, warranty="None.")
    renamed = Shop(name="Other shop", guidelines={"least_quench": "0.035 in"})
    other_quench = Shop(name="Test shop", guidelines={"least_quench": "0.036 in"})
    assert page_relevant(shop) == page_relevant(same)
    assert len({page_relevant(shop), page_relevant(renamed), page_relevant(other_quench)}) == 3


def test_settings_of_deliveries_change_no_page() -> None:
    only_deliveries = {
        "emergency_contact": "desk", "tag": {"width": "90 mm"}, "handover_holds": ["registration"], "warranty": "None.",
        "break_in": {"roller": ["prime the oil"]}, "cautions": ["bleed the cooling circuit"],
    }  # fmt: skip
    for name, value in only_deliveries.items():
        assert page_relevant(Shop.model_validate({name: value})) == page_relevant(Shop()), name


def test_every_other_setting_changes_pages() -> None:
    pages = {
        "name": "Test shop", "tagline": "Engines.", "units": "inch", "correction": "din-70020",
        "range": "3000..5000 rpm", "guidelines": {"most_lambda": 0.9}, "repeatability": {"value": "0.4 %", "from": 9},
        "likeness_weights": {"fuel": 2}, "paper": "Letter", "warranty_months": 6,
        "delivery_requires": ["cam"], "site_address": "https://archive.example",
    }  # fmt: skip
    for name, value in pages.items():
        assert page_relevant(Shop.model_validate({name: value})) != page_relevant(Shop()), name
