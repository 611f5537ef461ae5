"""Logged channels against their guidelines."""

from __future__ import annotations

import math

import pytest

from builder.draw.charts.channels import Channels, ChannelTrace, Trace, channels
from builder.draw.style import Size
from tests.support.draw_examples import SIZES
from tests.support.svg import label_conflicts

NAN = math.nan


@SIZES
def test_any_channels(size: Size) -> None:
    some = (
        ChannelTrace("Level", "V", (Trace("Pull 1", [1000, 2000], [5, 5]),), 5, 5),
        ChannelTrace("One point", "V", (Trace("Pull 1", [1500], [5]),)),
        ChannelTrace("Gap", "V", (Trace("Pull 2", [1000, 1500, 2000], [1, NAN, 3], 1),), None, 2),
        ChannelTrace("Nothing", "V", (Trace("Pull 1", [1000], [NAN]),)),
        ChannelTrace("Huge", "V", (Trace("Pull 3", [1000, 2000], [1e12, 2e12], 2),), 0),
    )
    drawing = channels(Channels(some), size=size)
    assert label_conflicts(drawing) == []
    assert "Nothing" not in drawing.description
    assert "Guideline 2.00 V or less" in drawing.description


def test_channels_without_points_are_refused() -> None:
    with pytest.raises(ValueError, match="no channel"):
        channels(Channels(()))
    with pytest.raises(ValueError, match="no channel"):
        channels(Channels((ChannelTrace("Empty", "V", (Trace("Pull 1", [], []),)),)))
