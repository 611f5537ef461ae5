"""Text fields with light Markdown as paragraphs of styled runs."""

from __future__ import annotations

from builder.handover.rich_text import parse_blocks


def test_markdown_is_parsed_as_for_the_page() -> None:
    blocks = parse_blocks("One *two* **three** `four` [five](https://x.example/a).\n\n- six\n- <b>seven</b>")
    assert [(run.text, run.style) for run in blocks[0].runs] == [
        ("One ", ""), ("two", "em"), (" ", ""), ("three", "strong"), (" ", ""), ("four", "code"), (" ", ""),
        ("five", ""), (".", ""),
    ]  # fmt: skip
    assert [run.url for run in blocks[0].runs if run.url] == ["https://x.example/a"]
    assert [block.is_list_item for block in blocks] == [False, True, True]
    assert "".join(run.text for run in blocks[2].runs) == "<b>seven</b>"


def test_italics_are_dropped_where_a_script_has_none() -> None:
    (block,) = parse_blocks("*محرك*")
    assert [run.style for run in block.runs] == [""]
