"""Complete records as a shop would write them, for tests of figures: a V8 in inches, changed as a test asks."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent

from builder.figures.core.types import Figure, FigureSheet
from builder.figures.definitions import REGISTRY
from builder.figures.evaluate import compute
from builder.record.load import errors_in, read_build
from builder.record.models.build import Build
from builder.record.models.shop import Shop

BUILD = """
    title: Test engine
    status: finished
    engine:
      layout: V
      cylinders: 8
      fuel: petrol
      red_line: 6000 rpm
"""
BOTTOM_END = """
    block:
      deck_height: 9.025 in
      bores: {unit: in, measured: [4.0305, 4.0304, 4.0306, 4.0305, 4.0303, 4.0305, 4.0306, 4.0304]}
      main_bores: {unit: in, measured: [2.6410, 2.6411, 2.6410, 2.6411, 2.6410]}
    crankshaft:
      material: forged steel
      stroke: 3.480 in
      main_journals: {unit: in, measured: [2.4483, 2.4484, 2.4483, 2.4484, 2.4483]}
    rods: {length: 5.700 in}
    pistons:
      type: forged
      compression_height: 1.560 in
      dish: 6.2 cc
    bearings: {main_shell: 0.0950 in}
"""
TOP_END = """
    heads:
      chambers: {unit: cc, measured: [64.2, 64.0, 64.1, 64.2, 64.0, 64.1, 64.3, 64.1]}
      intake_valve: {diameter: 1.940 in}
      exhaust_valve: {diameter: 1.500 in}
    gasket: {bore: 4.100 in, thickness: 0.039 in}
    rockers: {ratio: 1.6}
"""
CAM = """
    card:
      lobe_separation: 110 deg
      intake: {centerline: 106 deg, lobe_lift: 0.335 in, durations: [{at: 0.050 in, duration: 230 deg}]}
      exhaust: {centerline: 114 deg, lobe_lift: 0.335 in, durations: [{at: 0.050 in, duration: 236 deg}]}
"""
V8 = {"build": BUILD, "bottom_end": BOTTOM_END, "top_end": TOP_END, "cam": CAM}
BORE_GAUGING = """
    bore_gauging:
      unit: mm
      resolution: 0.001 mm
      taper_at_most: 0.006 mm
      out_of_round_at_most: 0.010 mm
      cylinders:
        - {cylinder: 1, depths: [{across: 81.507, along: 81.505}, {across: 81.505, along: 81.502},
                                 {across: 81.503, along: 81.502}]}
        - {cylinder: 2, depths: [{across: 81.509, along: 81.505}, {across: 81.506, along: 81.504},
                                 {across: 81.502, along: 81.502}]}
"""
RANGES = """
    fits:
      piston_clearance:
        unit: in
        allowed: 0.0035..0.0045
        rule: maker's sheet
        measured: [0.0040, 0.0041, 0.0040, 0.0039, 0.0040, 0.0049, 0.0040, 0.0041]
      crank_end_play:
        unit: in
        allowed: 0.004..0.008
        measured: 0.009
        accepted: {why: new thrust shells measured the same, by: RT}
      rod_side_clearance: {unit: in, at_least: 0.010, measured: [0.010, 0.011, 0.010, 0.010]}
      pin_clearance: {unit: in, measured: 0.0006}
      other: [{name: oil pump end clearance, reading: {unit: in, at_most: 0.003, measured: 0.002}}]
"""


def figure_of_value(slug: str, value: float, number: str, unit: str, uncertainty_text: str | None = None) -> Figure:
    """Return a figure of the registry with a value [SI] as it would be measured, exactly as it is shown."""
    return Figure(
        description=REGISTRY.figures[slug].description,
        value=value,
        number=number,
        unit=unit,
        shown=value,
        step=0.0,
        uncertainty_text=uncertainty_text,
        provenance="measured",
    )


def write_record(archive: Path, documents: dict[str, str]) -> Path:
    """Write YAML documents as a build of an archive, and return its folder."""
    folder = archive / "builds" / "test-engine"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in documents.items():
        (folder / f"{name}.yaml").write_text(dedent(text), encoding="utf-8")
    return folder


def read(archive: Path, documents: dict[str, str]) -> Build:
    """Return the build of YAML documents, which must be free of errors."""
    build, problems = read_build(write_record(archive, documents), archive)
    assert build is not None, [str(problem) for problem in problems]
    assert not errors_in(problems)
    return build


def sheet_of(archive: Path, documents: dict[str, str], shop: Shop | None = None) -> FigureSheet:
    """Return the figures of the build of YAML documents."""
    return compute(read(archive, documents), shop or Shop())


def figure_of(archive: Path, slug: str, documents: dict[str, str]) -> Figure:
    """Return one figure, which must be there."""
    sheet = sheet_of(archive, documents)
    figure = sheet.get(slug)
    assert figure is not None, [need for need in sheet.needs if need.slug == slug]
    return figure


def line_of(archive: Path, text: str, document: str) -> int:
    """Return the line of a document that holds a text."""
    lines = (archive / "builds" / "test-engine" / f"{document}.yaml").read_text(encoding="utf-8").splitlines()
    (line,) = (number for number, content in enumerate(lines, start=1) if text in content)
    return line
