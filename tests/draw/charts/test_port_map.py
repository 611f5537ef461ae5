"""The port map: every port once, none cut in two, labels apart."""

from __future__ import annotations

import pytest

from builder.draw.charts.port_map import PortMap, PortShape, port_map
from builder.draw.style import Size
from tests.support.draw_examples import SIZES
from tests.support.svg import label_conflicts

EXHAUST = PortShape("exhaust", 1, 26.5, 37.0, 0.0, opens=80.9)
TRANSFER = PortShape("transfer", 4, 37.1, 16.5, 75.0, opens=103.5)
BOOST = PortShape("boost", 1, 36.6, 14.0, 180.0, opens=102.3)
INTAKE = PortShape("intake", 1, 62.0, 30.0, 180.0, 84.0, opens=78.0)


@SIZES
@pytest.mark.parametrize("ports", [(EXHAUST,), (EXHAUST, TRANSFER, BOOST), (EXHAUST, TRANSFER, INTAKE)])
def test_labels_do_not_meet(ports: tuple[PortShape, ...], size: Size) -> None:
    assert label_conflicts(port_map(PortMap("mm", 54.0, 0.3, 54.8, ports), size=size)) == []


def test_the_description_has_the_numbers() -> None:
    text = port_map(PortMap("mm", 54.0, 0.3, 54.8, (EXHAUST, TRANSFER, INTAKE))).description
    assert "1 exhaust port, 37.0 wide, top edge 26.5 mm below the deck, opens 80.9 degrees after TDC" in text
    assert "4 transfer ports" in text
    assert "opens 78.0 degrees before TDC" in text


def test_impossible_ports_are_refused() -> None:
    with pytest.raises(ValueError, match="no port"):
        port_map(PortMap("mm", 54.0, 0.3, 54.8, ()))
    with pytest.raises(ValueError, match="wider than the bore"):
        port_map(PortMap("mm", 30.0, 0.3, 54.8, (EXHAUST,)))
