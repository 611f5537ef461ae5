"""US and UK English: terms, the shop's own words, and what is no text."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.english import US, English, english_of, english_of_messages
from builder.publish.errors import PublishError
from builder.record.models.build_yaml import Fuel

UK = English({"gasoline": "petrol", "wrist pin": "gudgeon pin", "wrist pins": "gudgeon pins", "center": "centre"})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Wrist pins and gasoline", "Gudgeon pins and petrol"),
        ("GASOLINE only", "PETROL only"),
        ("the wrist\npin, centered", "the gudgeon pin, centered"),
        ("gasoline.", "petrol."),
        ("write 'gasoline' in gasoline.yaml, fuel.gasoline", "write 'gasoline' in gasoline.yaml, fuel.gasoline"),
        ("the customer's gasoline, the shop's center", "the customer's petrol, the shop's centre"),
        ("https://example.org/gasoline and `gasoline`", "https://example.org/gasoline and `gasoline`"),
        ("gasoline_density", "gasoline_density"),
    ],
)
def test_a_text(text: str, expected: str) -> None:
    assert UK.text(text) == expected
    assert US.text(text) == text


@pytest.mark.parametrize(
    ("page", "expected"),
    [
        ('<a href="gasoline.html" title="Gasoline">gasoline</a>', '<a href="gasoline.html" title="Petrol">petrol</a>'),
        ('<p class="center" id="center">center</p>', '<p class="center" id="center">centre</p>'),
        ('<img src="center.svg" alt="at the\n center">', '<img src="center.svg" alt="at the\n centre">'),
        ("<code>gasoline</code> and gasoline", "<code>gasoline</code> and petrol"),
        ("## Gasoline { #gasoline data-search-exclude }", "## Petrol { #gasoline data-search-exclude }"),
        ("[gasoline](gasoline)", "[petrol](gasoline)"),
        ("<style>.center{}</style><text>center</text>", "<style>.center{}</style><text>centre</text>"),
        ("customer&#39;s gasoline, shop&#39;s", "customer&#39;s petrol, shop&#39;s"),
        ("read &#39;gasoline&#39; as gasoline", "read &#39;gasoline&#39; as petrol"),
    ],
)
def test_a_page(page: str, expected: str) -> None:
    assert UK.markup(page) == expected
    assert US.markup(page) == page


def test_a_script_and_a_template_have_their_shown_strings_translated() -> None:
    script = 'el("p", { class: "center", text: "Gasoline or gas" }); const center = `at the center`;'
    assert UK.script(script) == 'el("p", { class: "center", text: "Petrol or gas" }); const center = `at the centre`;'
    template = '#align(center)[the center] #chapter("Gasoline") // center'
    assert UK.typst(template) == '#align(center)[the centre] #chapter("Petrol") // center'


def test_the_shops_own_words_stay_as_written() -> None:
    english = UK.keeping({"note": "Ran on *leaded gasoline* at\nthe center of it all", "by": "RT"})
    assert english.own_words == {"leaded gasoline", "the center of"}
    page = "<p>Ran on <em>leaded gasoline</em> at The center of it. Unleaded gasoline, wrist pin.</p>"
    assert english.markup(page) == page.replace("Unleaded gasoline, wrist pin", "Unleaded petrol, gudgeon pin")


def test_a_choice_of_the_record_is_no_word_of_the_shop() -> None:
    fuel = Fuel.model_construct(kind="gasoline", octane="95 RON, gasoline")
    assert UK.keeping(fuel).own_words == {"ron, gasoline"}


def test_a_shop_adds_terms_and_changes_them(tmp_path: Path) -> None:
    folder = tmp_path / "site_templates"
    folder.mkdir()
    (folder / "english.yaml").write_text("gasoline: motor spirit\nblower: supercharger\n")
    english = english_of("uk", tmp_path)
    assert english.text("Gasoline, blower, aluminum") == "Motor spirit, supercharger, aluminium"
    assert english_of("us", tmp_path) is US
    (folder / "english.yaml").write_text("gasoline: [petrol]\n")
    with pytest.raises(PublishError, match=r"english\.yaml: write one line for each term"):
        english_of("uk", tmp_path)


def test_messages_follow_the_profile_and_keep_the_words_of_the_record(tmp_path: Path) -> None:
    build = tmp_path / "builds" / "pump"
    build.mkdir(parents=True)
    assert english_of_messages(tmp_path, ["pump"]) is US
    (tmp_path / "builds" / "shop.yaml").write_text("name: Fern\nenglish: uk\n")
    (build / "build.yaml").write_text("title: Old gasoline pump\nengine: {cylinders: 1}\n")
    english = english_of_messages(tmp_path, ["pump"])
    assert english.text("Old gasoline pump: catalog, gasoline") == "Old gasoline pump: catalogue, petrol"
