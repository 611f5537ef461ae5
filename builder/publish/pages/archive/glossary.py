"""The terms of the trade, a sentence each: for the Glossary page, and for the titles on a build's page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Term:
    """One term. `figures`: slugs of the figures and fields whose title it explains."""

    word: str
    definition: str
    figures: tuple[str, ...] = ()

    @property
    def anchor(self) -> str:
        """The id of its entry on the Glossary page."""
        return "".join(letter if letter.isalnum() else "-" for letter in self.word.lower()).strip("-")


_TERMS: tuple[Term, ...] = (
    Term("A-B-A test", "Baseline, change, baseline again: a steady drift of the session drops out of the difference."),
    Term("Air-fuel ratio", "Mass of air per mass of fuel."),
    Term(
        "Balancing", "Matching piston, rod and crankshaft weights so that the rotating assembly runs without vibration."
    ),
    Term("BMEP", "Brake mean effective pressure: torque per displacement, expressed as a pressure.", ("bmep",)),
    Term("Bobweight", "The weight clamped to a crankpin for balancing, in place of rod and piston.", ("bobweight",)),
    Term(
        "Bore",
        "The diameter of a cylinder, or the cylinder itself.",
        ("bore_stroke_ratio", "bore_taper", "bore_out_of_round"),
    ),
    Term("BSFC", "Brake specific fuel consumption: fuel flow per unit power; lower is more efficient.", ("bsfc",)),
    Term(
        "Cam card",
        "The manufacturer's sheet for a cam: lift, durations, lobe separation and installed centerline.",
        ("card_difference",),
    ),
    Term(
        "Centerline",
        "Crank angle of full valve lift, measured from TDC.",
        ("installed_centerline", "exhaust_centerline"),
    ),
    Term("Chamber", "The combustion chamber in the cylinder head."),
    Term("Clamp load", "The force with which a tightened bolt clamps its joint.", ("fastener_preload",)),
    Term("Clearance volume", "All the volume above the piston at TDC.", ("clearance_volume",)),
    Term(
        "Coil bind",
        "A valve spring compressed until its coils touch; some travel must be left at full lift.",
        ("coil_bind_clearance",),
    ),
    Term("Compression height", "Distance from the pin center to the flat of the piston crown."),
    Term(
        "Compression ratio", "Cylinder volume at BDC divided by volume at TDC.", ("compression_ratio", "compression_if")
    ),
    Term("Confidence interval", "The ± of a result at 95 %: of a hundred such intervals, 95 hold the true value."),
    Term(
        "Correction", "Converting dyno readings from the day's weather to standard conditions.", ("correction_factor",)
    ),
    Term("Cranking compression", "Cylinder pressure while cranking with the throttle open."),
    Term("Crankpin", "The crankshaft journal for a connecting rod."),
    Term("Crush", "The height of a bearing shell above the housing split, which locks it in place when tightened."),
    Term("Crosshatch", "The pattern that honing leaves in a bore; its angle is that between the two sets of lines."),
    Term("Curtain area", "The opening between valve head and seat.", ("curtain_area",)),
    Term("Deck", "The block face to which the head is bolted."),
    Term(
        "Deck clearance",
        "How far the piston stops below the deck at TDC; negative above the deck.",
        ("deck_clearance",),
    ),
    Term("Degreeing", "Measuring cam timing with a degree wheel and a dial indicator."),
    Term("Detonation", "Unburned mixture ignites spontaneously; it can break pistons before it is heard."),
    Term(
        "Discharge coefficient",
        "Measured flow over ideal flow through the valve opening; 1 is ideal.",
        ("discharge_coefficient",),
    ),
    Term(
        "Dish", "A recess in the piston crown, which lowers the compression ratio; a dome raises it.", ("crown_volume",)
    ),
    Term("Displacement", "The volume swept by all pistons.", ("displacement",)),
    Term("Drift", "Torque that creeps up or down from pull to pull with nothing changed, as oil and air warm up."),
    Term("Dual plane", "An intake manifold in two halves, each feeding every other cylinder in the firing order."),
    Term("Duration", "Crank degrees a valve is open, at a stated lift.", ("intake_open", "exhaust_open")),
    Term(
        "Dynamic compression ratio",
        "Compression ratio counted from intake closing; it decides which fuel the engine needs.",
        ("effective_compression_ratio",),
    ),
    Term("Dyno", "Absorbs the engine's power and measures its torque."),
    Term("End play", "Axial movement of a shaft.", ("crank_end_play", "cam_end_play")),
    Term(
        "Flow bench",
        "Measures airflow through a port at a set test pressure.",
        ("flow_at_depression", "exhaust_flow_at_depression"),
    ),
    Term("Horsepower", "Unit of power: 1 hp is 0.746 kW."),
    Term("Installed height", "Length of a valve spring as installed, with the valve closed."),
    Term("Journal", "The part of a shaft that runs in a bearing."),
    Term("Lambda", "Air-fuel ratio relative to stoichiometric: below 1 is rich, above 1 is lean."),
    Term("Lash", "Valve clearance: the gap in the valve train with the valve closed."),
    Term("Leak-down", "Share of the test air that leaks from a cylinder at TDC: shows how well it seals."),
    Term("Lifter preload", "Plunger depth of a hydraulic lifter with the valve closed.", ("lifter_preload",)),
    Term("Lobe", "The eccentric part of a camshaft that opens a valve."),
    Term("Lobe separation", "Angle between the intake and exhaust lobe centers, in cam degrees.", ("lobe_separation",)),
    Term(
        "Mean piston speed",
        "Average piston speed: a measure of wear and load for any engine size.",
        ("mean_piston_speed",),
    ),
    Term("Nut factor", "Friction factor of a bolted joint, used to estimate clamp load from torque."),
    Term(
        "Oil clearance",
        "The gap between journal and bearing.",
        ("main_oil_clearance", "rod_oil_clearance", "cam_oil_clearance"),
    ),
    Term("Overlap", "Crank degrees with intake and exhaust valve both open.", ("overlap",)),
    Term("Piston clearance", "The gap between piston and bore.", ("piston_clearance",)),
    Term("Piston-to-valve clearance", "Smallest gap between an open valve and the piston.", ("piston_to_valve",)),
    Term("Power", "Torque times engine speed.", ("peak_power",)),
    Term("Priming", "Filling the oil passages under pressure before the first start."),
    Term("Pull", "One dyno run through the rpm range at full throttle."),
    Term(
        "Quench", "Piston-to-head clearance at TDC, which pushes the charge into the chamber; also squish.", ("quench",)
    ),
    Term("Ra, Rz", "Roughness of a surface: its mean height, and its mean height from peak to valley."),
    Term("Rpk, Rk, Rvk", "Roughness of a honed bore in three parts: peaks that wear off, core, valleys that hold oil."),
    Term("Red line", "The highest engine speed the builder allows."),
    Term(
        "Repeatability",
        "Scatter between pulls with no change, as a standard deviation (1 SD); a gain must be well above it.",
        ("repeatability",),
    ),
    Term("Ring gap", "Gap between the ring ends, for expansion when hot.", ("top_ring_gap", "second_ring_gap")),
    Term("Rocker ratio", "Valve lift divided by lobe lift."),
    Term("Rod/stroke ratio", "Rod length divided by stroke.", ("rod_ratio",)),
    Term("Seat pressure", "Spring force with the valve closed.", ("seat_load",)),
    Term("Single plane", "An intake manifold with one plenum that feeds every cylinder."),
    Term("Skim", "The lightest machining cut that makes a face flat."),
    Term("Stretch", "Elongation of a bolt when tightened: the most accurate measure of clamp load."),
    Term("Stroke", "Piston travel from TDC to BDC."),
    Term("TDC, BDC", "Top dead center, the highest point of piston travel; bottom dead center, the lowest."),
    Term("Torque", "Turning force of the engine.", ("peak_torque",)),
    Term("Torque band", "The rpm range with at least 90 % of peak torque.", ("torque_band",)),
    Term("Valve lift", "How far a valve opens.", ("valve_lift",)),
    Term(
        "Volumetric efficiency (VE)",
        "Air taken in over air the displacement would hold at outside density.",
        ("volumetric_efficiency",),
    ),
)
GLOSSARY = tuple(sorted(_TERMS, key=lambda term: term.word.lower()))


def terms_for(slugs: Iterable[str]) -> dict[str, Term]:
    """Return by slug the term that explains each of these figures, each term only for its first figure."""
    by_figure = {slug: term for term in GLOSSARY for slug in term.figures}
    terms: dict[str, Term] = {}
    for slug in slugs:
        term = by_figure.get(slug)
        if term is not None and term not in terms.values():
            terms[slug] = term
    return terms
