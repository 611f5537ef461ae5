"""Figures of the cylinder and its compression."""

from __future__ import annotations

import numpy as np

from builder.engine import geometry
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Input
from builder.figures.core.registry import (
    COMMON_PRACTICE,
    CYLINDER,
    GEOMETRY,
    HEYWOOD_2,
    Definitions,
    Missing,
    unchanged,
)
from builder.figures.core.types import GIVEN

define = Definitions(CYLINDER)

define.add_inputs(
    Input("cylinders", "cylinders", "N", units.COUNT, "build.engine.cylinders", provenance=GIVEN),
    Input("compression_wanted", "target compression ratio", "\\varepsilon", units.COMPRESSION,
          "build.engine.compression_wanted", provenance=GIVEN),
    Input("bore", "bore", "B", units.LENGTH, "bottom_end.block.bores", "cylinder"),
    Input("standard_bore", "standard bore", "B_0", units.LENGTH, "bottom_end.block.standard_bore"),
    Input("stroke", "stroke", "S", units.LENGTH, "bottom_end.crankshaft.stroke"),
    Input("rod_length", "rod length", "L", units.LENGTH, "bottom_end.rods.length", "cylinder"),
    Input("deck_height", "deck height", "H", units.LENGTH, "bottom_end.block.deck_height"),
    Input(
        "compression_height", "compression height", "h", units.LENGTH,
        "bottom_end.pistons.compression_height", "cylinder",
    ),
    Input(
        "deck_clearance_measured", "deck clearance by dial indicator", "c", units.LENGTH,
        "bottom_end.deck_clearance", "cylinder",
    ),
    Input("dish", "dish and valve reliefs", "V_{dish}", units.VOLUME, "bottom_end.pistons.dish", "cylinder"),
    Input("dome", "dome", "V_{dome}", units.VOLUME, "bottom_end.pistons.dome", "cylinder"),
    Input("top_land_height", "top land height", "h_t", units.LENGTH, "bottom_end.pistons.top_land.height"),
    Input(
        "top_land_clearance", "diametral top land clearance", "c_t", units.LENGTH,
        "bottom_end.pistons.top_land.diametral_clearance",
    ),
    Input("chamber", "chamber volume", "V_c", units.VOLUME, "top_end.heads.chambers", "cylinder"),
    Input("gasket_bore", "gasket bore", "B_g", units.LENGTH, "top_end.gasket.bore"),
    Input("gasket_thickness", "compressed gasket thickness", "t_g", units.LENGTH, "top_end.gasket.thickness"),
)  # fmt: skip


define.figure(
    "swept_volume",
    "Swept volume",
    units.VOLUME,
    source=HEYWOOD_2,
    means="The volume one piston sweeps from TDC to BDC.",
    formula=r"V_s = \frac{\pi}{4} B^2 S",
    working="π/4 × ({bore})² × {stroke}",
    validity="stroke as twice the throw: a pin offset of 1 mm adds less than 0.01 %, not counted",
)(geometry.swept_volume)


@define.figure(
    "displacement",
    "Displacement",
    units.DISPLACEMENT,
    source=HEYWOOD_2,
    vectorised=True,
    means="The volume all pistons sweep together.",
    formula=r"V_d = N \, V_s",
    working="{cylinders} × {swept_volume}",
    validity="any number of cylinders",
)
def displacement(cylinders: Value, swept_volume: Value) -> Value:
    """Return the swept volume of all cylinders together [m3], from the mean of those gauged."""
    return geometry.displacement(float(np.mean(swept_volume)), round(float(cylinders)))


define.figure(
    "bore_stroke_ratio",
    "Bore/stroke ratio",
    units.RATIO,
    source=HEYWOOD_2,
    means="Above 1 the bore is larger than the stroke, which favors high rpm.",
    formula=r"B / S",
    working="{bore} / {stroke}",
    validity="any engine with round bores; the mean of the bores measured",
)(geometry.bore_stroke_ratio)


define.figure(
    "rod_ratio",
    "Rod/stroke ratio",
    units.RATIO,
    source=HEYWOOD_2,
    means="Rod length divided by stroke; a longer rod swings through smaller angles.",
    formula=r"L / S",
    working="{rod_length} / {stroke}",
    validity="1.4 to 2.2 in running engines",
    inputs=("rod_length", "stroke"),
)(geometry.rod_ratio)


define.figure(
    "deck_clearance",
    "Deck clearance",
    units.LENGTH,
    source=GEOMETRY,
    means="How far the piston stops below the deck at TDC; negative above the deck.",
    formula=r"c = H - \left( S/2 + L + h \right)",
    working="by dial indicator: {deck_clearance_measured}",
    validity="the gauge wins over the sum of the parts; the difference between the two is a finding",
    inputs=("deck_clearance_measured",),
)(unchanged)


define.alternative(
    "deck_clearance",
    working="{deck_height} − ({stroke} / 2 + {rod_length} + {compression_height})",
    is_sum=True,
    inputs=("deck_height", "stroke", "rod_length", "compression_height"),
)(geometry.deck_clearance)


define.figure(
    "compression_height_from_deck",
    "Compression height (from deck)",
    units.LENGTH,
    source=GEOMETRY,
    means="Compression height worked back from the measured deck clearance: shows a short piston without pulling it.",
    formula=r"h = H - \left( S/2 + L + c \right)",
    working="{deck_height} − ({stroke} / 2 + {rod_length} + {deck_clearance_measured})",
    validity="where the deck clearance was measured; errors of block, crank or rod count as the piston's",
    is_sum=True,
    inputs=("deck_height", "stroke", "rod_length", "deck_clearance_measured"),
)(geometry.compression_height_from_deck)


define.figure(
    "quench",
    "Quench (squish)",
    units.LENGTH,
    source=COMMON_PRACTICE,
    means="Piston-to-head clearance at TDC: tight enough to mix the charge, wide enough never to touch.",
    formula=r"q = c + t_g",
    working="{deck_clearance} + {gasket_thickness}",
    validity="heads with a quench flat",
    is_sum=True,
)(geometry.quench)


@define.figure(
    "crown_volume",
    "Piston dish/dome volume",
    units.VOLUME,
    source=GEOMETRY,
    means="Volume of the piston crown: a dish adds to the clearance volume, a dome subtracts.",
    formula=r"V_{dish} - V_{dome}",
    working="{dish} − {dome}",
    validity="any crown; a flat top is 0 cc",
    is_sum=True,
)
def crown_volume(dish: Value | None = None, dome: Value | None = None) -> Value:
    """Return dish less dome [m3]."""
    if dish is None and dome is None:
        raise Missing("bottom_end.yaml: pistons.dish (0 cc for a flat top) or pistons.dome")
    return (0.0 if dish is None else dish) - (0.0 if dome is None else dome)


@define.figure(
    "top_land_volume",
    "Crevice volume",
    units.VOLUME,
    source=GEOMETRY,
    means="The gap around the piston above the top ring.",
    formula=r"\frac{\pi}{4} \left( B^2 - (B - c_t)^2 \right) h_t",
    working="π/4 × (({bore})² − ({bore} − {top_land_clearance})²) × {top_land_height}",
    validity="piston central in its bore, above the top ring, cold",
)
def top_land_volume(bore: Value, top_land_clearance: Value, top_land_height: Value) -> Value:
    """Return the crevice above the top ring [m3]."""
    return geometry.top_land_volume(bore, bore - top_land_clearance, top_land_height)


@define.figure(
    "clearance_volume",
    "Clearance volume",
    units.VOLUME,
    source=GEOMETRY,
    means="All the volume above the piston at TDC.",
    formula=r"V_k = V_c + \frac{\pi}{4} B_g^2 t_g + \frac{\pi}{4} B^2 c + V_{crown} + V_{land}",
    symbols=(("V_{crown}", "piston dish/dome volume", "m³"), ("V_{land}", "crevice volume, if recorded", "m³")),
    working="{chamber} + π/4 × ({gasket_bore})² × {gasket_thickness} + π/4 × ({bore})² × {deck_clearance}"
    " + {crown_volume} + {top_land_volume}",
    validity="any engine; crevice volume only if recorded",
)
def clearance_volume(
    chamber: Value,
    gasket_bore: Value,
    gasket_thickness: Value,
    bore: Value,
    deck_clearance: Value,
    crown_volume: Value,
    top_land_volume: Value = 0.0,
) -> Value:
    """Return the clearance volume of each cylinder [m3]."""
    return geometry.clearance_volume(
        chamber,
        geometry.gasket_volume(gasket_bore, gasket_thickness),
        geometry.deck_volume(bore, deck_clearance),
        crown_volume,
        top_land_volume,
    )


define.figure(
    "compression_ratio",
    "Compression ratio",
    units.COMPRESSION,
    source=HEYWOOD_2,
    means="Cylinder volume at BDC over volume at TDC. More gives more torque and needs more octane.",
    formula=r"\frac{V_s + V_k}{V_k}",
    working="({swept_volume} + {clearance_volume}) / {clearance_volume}",
    symbols=(("V_s", "swept volume", "m³"), ("V_k", "clearance volume", "m³")),
    validity="geometric, from the volumes at TDC and BDC, cold; what the closing of the intake does is not in it",
)(geometry.compression_ratio)


define.figure(
    "clearance_volume_wanted",
    "Clearance volume for target CR",
    units.VOLUME,
    source=HEYWOOD_2,
    means="The clearance volume that gives the target compression ratio.",
    formula=r"V_{k,w} = \frac{V_s}{\varepsilon - 1}",
    symbols=(("V_s", "swept volume", "m³"),),
    working="{swept_volume} / ({compression_wanted} − 1)",
    validity="geometric; with the swept volume as it is",
    inputs=("swept_volume", "compression_wanted"),
)(geometry.clearance_for_ratio)


@define.figure(
    "crown_volume_wanted",
    "Piston dish/dome volume for target CR",
    units.VOLUME,
    source=GEOMETRY,
    means="The piston dish that gives the target compression ratio; negative is a dome.",
    formula=r"V_{k,w} - V_c - \frac{\pi}{4} B_g^2 t_g - \frac{\pi}{4} B^2 c - V_{land}",
    symbols=(
        ("V_{k,w}", "clearance volume for target CR", "m³"),
        ("c", "deck clearance", "m"),
        ("V_{land}", "crevice volume, if recorded", "m³"),
    ),
    working="{clearance_volume_wanted} − {chamber} − π/4 × ({gasket_bore})² × {gasket_thickness}"
    " − π/4 × ({bore})² × {deck_clearance} − {top_land_volume}",
    validity="with chamber, gasket and deck as they are; crevice volume only if recorded",
)
def crown_volume_wanted(
    clearance_volume_wanted: Value,
    chamber: Value,
    gasket_bore: Value,
    gasket_thickness: Value,
    bore: Value,
    deck_clearance: Value,
    top_land_volume: Value = 0.0,
) -> Value:
    """Return the crown volume of each cylinder that gives the ratio asked for, dish positive [m3]."""
    return geometry.crown_volume(
        clearance_volume_wanted,
        chamber,
        geometry.gasket_volume(gasket_bore, gasket_thickness),
        geometry.deck_volume(bore, deck_clearance),
        top_land_volume,
    )
