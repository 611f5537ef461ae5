"""Changes that are tried and not written: how a field is named, and how a value is read."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.record.changes import ChangeError, find_field, measurements, notes_at, read_assignment, with_changes
from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.quantities.readings import Reading
from tests.support.demo_builds import folder_of

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def build() -> Build:
    build, _ = read_build(folder_of("pilot-launch-four"), ROOT)
    assert build is not None
    return build


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("top_end.gasket.thickness", "top_end.gasket.thickness"),
        ("gasket.thickness", "top_end.gasket.thickness"),
        ("head_gasket.compressed_thickness", "top_end.gasket.thickness"),
        ("stroke", "bottom_end.crankshaft.stroke"),
        ("Crank.Stroke", "bottom_end.crankshaft.stroke"),
        ("installed.intake_centreline", "cam.installed.intake_centerline"),
        ("inlet_valve.diameter", "top_end.heads.intake_valve.diameter"),
    ],
)
def test_a_field_is_named_by_any_end_of_its_path_and_by_any_of_its_names(name: str, path: str) -> None:
    assert find_field(name) == path


def test_an_ambiguous_name_lists_the_fields_it_may_be() -> None:
    with pytest.raises(ChangeError, match=r"cam\.card\.intake\.lash or cam\.card\.exhaust\.lash"):
        find_field("lash")


def test_a_wrong_name_brings_the_nearest() -> None:
    with pytest.raises(ChangeError, match=r"did you mean 'gasket\.thickness'"):
        find_field("gaskt.thicknes")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("gasket.thickness=0.030", "0.030 has no unit: write 0.030 in"),
        ("gasket.thickness=-1 mm", "cannot be: write a value above zero"),
        ("gasket.thickness", "is not field=value"),
        ("rockers.ratio=[", "cannot be read"),
        ("fuel.kind=lemonade", "is not known here"),
        ("springs.tested=3", "a list is wanted"),
    ],
)
def test_a_wrong_value_brings_the_fix(build: Build, text: str, message: str) -> None:
    with pytest.raises(ChangeError, match=message):
        read_assignment(build, text)


def test_a_single_value_takes_the_place_of_what_was_measured_and_the_range_stays(build: Build) -> None:
    change = read_assignment(build, "fits.piston_clearance=0.06 mm")
    assert isinstance(change.value, Reading)
    assert [quantity.text for quantity in change.value.preferred] == ["0.06 mm"]
    assert not change.value.is_measured
    before = build.get("assembly.fits.piston_clearance")
    assert change.value.allowed == before.allowed
    assert change.value.rule == before.rule


def test_the_record_itself_stays_as_it_is(build: Build) -> None:
    change = read_assignment(build, "rockers.ratio=1.7")
    changed = with_changes(build, {change.path: change.value})
    assert changed.get("top_end.rockers.ratio").listed.si == 1.7
    assert build.get("top_end.rockers.ratio").measured[0].si == 1.5
    assert changed.bottom_end is build.bottom_end


def test_what_a_measurement_depends_on_are_fields_of_the_record() -> None:
    """A path that a model misspells would never be found changed."""
    for path, dependencies in measurements():
        assert notes_at(path).depends_on == dependencies
        for dependency in dependencies:
            document, *steps = dependency.split(".")
            value: object = Build.__dataclass_fields__[document]
            assert value is not None
            assert _is_field_or_section(document, steps), dependency


def _is_field_or_section(document: str, steps: list[str]) -> bool:
    from builder.record.models.build import DOCUMENTS
    from builder.record.traversal import field_paths

    return not steps or ".".join(steps) in field_paths(DOCUMENTS[document])
