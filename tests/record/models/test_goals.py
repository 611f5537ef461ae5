"""Goals of the customer: words, numbers by name, and clear messages for what cannot be read."""

from __future__ import annotations

import pytest

from builder.record.models.goals import read_target
from builder.record.quantities.units import UnitProblem
from tests.support.record_samples import SHEET, ReadWith

FOOT_POUND = 1.3558179483314004
"""N m of 1 lbf ft. Source: NIST SP 811, appendix B.8."""


@pytest.mark.parametrize(
    ("name", "text", "quantity", "speed", "minimum", "maximum"),
    [
        ("torque at 2000 rpm", "350 lb-ft", "torque", 2000 / 60, 350 * FOOT_POUND, None),
        ("Peak torque", "300 N.m", "torque", None, 300, None),
        ("power", "at most 100 kW", "power", None, None, 100e3),
        ("power at 4000 rpm", "60..70 kW", "power", 4000 / 60, 60e3, 70e3),
        ("compression ratio", "9.5", "compression ratio", None, 9.45, 9.55),
        ("compression", "at most 9.5:1", "compression ratio", None, None, 9.5),
        ("displacement", "1620 cc", "displacement", None, 1619.5e-6, 1620.5e-6),
        ("quench", "0.035..0.045 in", "quench", None, 0.035 * 0.0254, 0.045 * 0.0254),
        ("Squish", "at most 1.0 mm", "quench", None, None, 1.0e-3),
    ],
)
def test_a_goal_says_what_is_enough(
    name: str, text: str, quantity: str, speed: float | None, minimum: float | None, maximum: float | None
) -> None:
    target = read_target(name, text)
    assert target.quantity == quantity
    assert (target.speed.si if target.speed else None) == pytest.approx(speed)
    assert target.minimum == pytest.approx(minimum)
    assert target.maximum == pytest.approx(maximum)


def test_what_is_wanted_is_shown_as_written() -> None:
    texts = [read_target("torque", text).text for text in ("350 lb-ft", "at most 300 N.m", "300..350 N.m")]
    assert [text.replace("\N{NO-BREAK SPACE}", " ") for text in texts] == [
        "at least 350 lb-ft",
        "at most 300 N m",
        "300 to 350 N m",
    ]
    assert read_target("compression ratio", "9.5").text == "9.5"


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("torqe", "350 lb-ft", "did you mean 'torque'?"),
        ("less smoke", "yes", "other goals go into text"),
        ("torque", "350", "350 has no unit"),
        ("torque", "a lot", "is not a value with a unit"),
        ("torque", "0 N.m", "is not above zero"),
        ("power", "350 lb-ft", "lb-ft"),
        ("torque at 2000", "350 lb-ft", "2000 has no unit"),
        ("torque at 0 rpm", "350 lb-ft", "is not a speed an engine runs at"),
        ("peak power at 4000 rpm", "60 kW", "leave out 'at 4000 rpm'"),
        ("compression ratio at 2000 rpm", "9.5", "leave out 'at 2000 rpm'"),
        ("quench", "0.040", "0.040 has no unit: write 0.040 in"),
        ("power", "70..60 kW", "upside down"),
    ],
)
def test_what_cannot_be_read_is_said_with_the_fix(name: str, text: str, message: str) -> None:
    with pytest.raises(UnitProblem) as raised:
        read_target(name, text)
    assert message in str(raised.value)


GOALS = (
    "goals: Pulls well.\n",
    "goals:\n  text: Pulls well.\n  targets:\n    torque at 2000 rpm: 350 lb-ft\n    compression ratio: 9.5\n",
    "goals:\n  text: Pulls well.\n  torque at 2000 rpm: 350 lb-ft\n  compression ratio: 9.5\n",
)


@pytest.mark.parametrize(("goals", "count"), [(GOALS[0], 0), (GOALS[1], 2), (GOALS[2], 2)])
def test_words_alone_or_words_and_numbers(read: ReadWith, goals: str, count: int) -> None:
    build, problems = read(build=SHEET + goals)
    assert build is not None
    assert not problems
    assert build.build.goals is not None
    assert build.build.goals.text == "Pulls well."
    assert [target.name for target in build.build.goals.read_targets] == ["Torque at 2000 rpm", "Compression ratio"][
        :count
    ]


@pytest.mark.parametrize("written", GOALS[1:])
def test_a_wrong_goal_is_named_with_its_line(read: ReadWith, written: str) -> None:
    text = SHEET + written.replace("350 lb-ft", "plenty")
    _, problems = read(build=text)
    (problem,) = problems
    assert problem.path.name == "build.yaml"
    assert problem.line == next(
        number for number, line in enumerate(text.splitlines(), 1) if line.strip().startswith("torque at")
    )
    assert "'plenty' is not a value with a unit" in problem.message


@pytest.mark.parametrize("goals", ["[a, b]", "{targets: [a]}", "{targets: {torque: [1, 2]}}", "true", "{1: 2}"])
def test_other_shapes_are_refused_without_a_traceback(read: ReadWith, goals: str) -> None:
    _, problems = read(build=f"{SHEET}goals: {goals}\n")
    assert problems
    assert all(problem.path.name == "build.yaml" for problem in problems)
