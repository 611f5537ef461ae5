"""Cautions gathered in one list."""

from __future__ import annotations

import pytest

from builder.figures.dyno.guideline_traces import summarize_violations
from builder.figures.evaluate import compute
from builder.publish.pages.build.cautions_section import caution_lines
from builder.publish.pages.build.dyno_section import dyno_section
from builder.record.load import read_build
from builder.record.models.shop import Shop
from builder.record.redaction import without_private
from tests.support import view_samples as samples
from tests.support.demo_builds import SAMPLE


def test_a_violation_as_delivered_is_a_caution_and_an_earlier_one_a_note_of_the_session() -> None:
    build, _ = samples.build_and_sheet("generator-gas-six")
    rich = {"mixture": [{"fuel": "LPG", "least_lambda": 0.80, "most_lambda": 0.95}]}
    sheet = compute(build, Shop.model_validate({"guidelines": rich}))
    (line,) = [line for line in caution_lines(build, sheet) if line.href == "#dyno-results"]
    assert line.sentence.startswith("Timing 28: lambda at full load above the guideline")
    assert sheet.session is not None
    (note,) = [note for note in dyno_section(sheet.session, sheet.system).remarks if "lambda" in note]
    assert note.startswith("not as delivered: mixer leaned: lambda at full load above the guideline")


def test_the_same_violation_in_several_pulls_is_one_line_with_the_worst() -> None:
    build, _ = samples.build_and_sheet("generator-gas-six")
    rich = {"mixture": [{"fuel": "LPG", "least_lambda": 0.80, "most_lambda": 0.95}]}
    session = compute(build, Shop.model_validate({"guidelines": rich})).session
    assert session is not None
    ((text, worst),) = summarize_violations(session.violations)
    assert len(session.violations) == 2
    assert all(violation.pull in text for violation in session.violations)
    assert worst.value == max(violation.value for violation in session.violations)


def test_an_accepted_caution_is_left_out_of_the_public_page() -> None:
    public, sheet = samples.build_and_sheet("climb-special-six")
    assert [caution.name for caution in sheet.cautions if caution.is_accepted] == ["quench"]
    assert not [line for line in caution_lines(public, sheet) if "Quench" in line.sentence]
    build, _ = read_build(public.folder, samples.ROOT)
    assert build is not None
    customer = without_private(build, ("delivery.accepted.why",))
    (line,) = [line for line in caution_lines(customer, compute(customer, samples.shop())) if line.href == "#quench"]
    assert line.answer == "Accepted by BT: the pistons are the customer's, fitted against our advice."


@pytest.mark.parametrize("slug", SAMPLE)
def test_every_caution_has_a_line_and_is_a_sentence(slug: str) -> None:
    build, sheet = samples.build_and_sheet(slug)
    lines = caution_lines(build, sheet)
    text = " ".join(line.sentence for line in lines)
    for caution in sheet.shown_cautions:
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
