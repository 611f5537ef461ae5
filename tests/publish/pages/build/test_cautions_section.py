"""Cautions gathered in one list."""

from __future__ import annotations

import pytest

from builder.figures.evaluate import compute
from builder.publish.pages.build.cautions_section import caution_lines
from builder.record.models.shop import Shop
from tests.support import view_samples as samples


def test_the_same_violation_in_several_pulls_is_one_line_with_the_worst() -> None:
    build, _ = samples.build_and_sheet("generator-gas-six")
    rich = {"mixture": [{"fuel": "LPG", "least_lambda": 0.80, "most_lambda": 0.95}]}
    sheet = compute(build, Shop.model_validate({"guidelines": rich}))
    (line,) = [line for line in caution_lines(build, sheet) if line.href == "#dyno-results"]
    assert sheet.session is not None
    for violation in sheet.session.violations:
        assert violation.pull in line.sentence
    assert len(sheet.session.violations) == 2


@pytest.mark.parametrize("slug", samples.slugs())
def test_every_caution_has_a_line_and_is_a_sentence(slug: str) -> None:
    build, sheet = samples.build_and_sheet(slug)
    lines = caution_lines(build, sheet)
    text = " ".join(line.sentence for line in lines)
    for caution in sheet.cautions:
        if caution.subject.startswith("dyno.pulls.") and sheet.session is not None:
            pull = build.pulls[int(caution.subject.split(".")[2])].name
            assert pull.casefold() in text.casefold()
        elif caution.subject.startswith("parts.parts."):
            assert build.parts is not None
            assert build.parts.parts[int(caution.subject.split(".")[2])].part in text
        else:
            assert caution.sentence[1:] in text
    assert all(line.sentence.endswith((".", "!", "?")) for line in lines)
    assert len(lines) == len(set(lines))
