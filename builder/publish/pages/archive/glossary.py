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
    Term(
        "Air-fuel ratio",
        "Pounds of air to each pound of fuel (or kilograms to each kilogram) in what the engine burns.",
    ),
    Term(
        "Balance", "Weighing and trimming pistons, rods and crankshaft so that the engine does not shake itself apart."
    ),
    Term(
        "Bmep",
        "Torque divided by the size of the engine: the steady pressure on the pistons that would give it.",
        ("bmep",),
    ),
    Term(
        "Bobweight",
        "The weight hung on a crankpin in the balancing machine to stand for rod and piston.",
        ("bobweight",),
    ),
    Term(
        "Bore",
        "The diameter of a cylinder, or the cylinder itself.",
        ("bore_stroke_ratio", "bore_taper", "bore_out_of_round"),
    ),
    Term("Brake", "The dyno: a machine that holds an engine back and weighs how hard it twists."),
    Term("Bsfc", "Fuel burnt for each unit of work: the lower, the thriftier.", ("bsfc",)),
    Term(
        "Cam card",
        "The sheet the cam's maker packs with it: lift, durations and where the cam should be put in.",
        ("card_difference",),
    ),
    Term(
        "Centerline",
        "Where a valve is fully open, in crank degrees from top dead centre.",
        ("installed_centerline", "exhaust_centerline"),
    ),
    Term("Chamber", "The hollow in the cylinder head in which the charge burns."),
    Term("Clearance volume", "All the space above a piston that stands at the top.", ("clearance_volume",)),
    Term(
        "Coil bind",
        "A valve spring pressed together until its coils touch; short of that there must be travel left.",
        ("coil_bind_clearance",),
    ),
    Term("Compression height", "From the middle of the piston's pin to the flat of its crown."),
    Term(
        "Compression ratio",
        "How far the charge is squeezed: the space above the piston at the bottom, divided by what is left at the top.",
        ("compression_ratio", "compression_if"),
    ),
    Term(
        "Correction",
        "Turning what the brake read on the day into what it would have read in standard weather.",
        ("correction_factor",),
    ),
    Term(
        "Cranking compression",
        "The pressure each cylinder builds when the starter turns the engine with the throttle open.",
    ),
    Term("Crankpin", "The journal of the crankshaft that a rod turns on."),
    Term("Crush", "The little by which a bearing shell stands proud of its housing, so that tightening holds it fast."),
    Term("Curtain area", "The ring-shaped window between an open valve and its seat.", ("curtain_area",)),
    Term("Deck", "The top face of the block, to which the head is bolted."),
    Term(
        "Deck clearance", "How far the piston stops below the deck; negative when it stands proud.", ("deck_clearance",)
    ),
    Term(
        "Degreeing", "Finding with a degree wheel and a dial gauge where a camshaft really opens and shuts the valves."
    ),
    Term("Detonation", "Fuel that goes off by itself instead of burning: it breaks pistons before it is heard."),
    Term(
        "Discharge coefficient",
        "How much of the window that its valve opens a port really uses; 1 would be perfect.",
        ("discharge_coefficient",),
    ),
    Term(
        "Dish",
        "A hollow in the piston's crown, which lowers the compression ratio; a dome raises it.",
        ("crown_volume",),
    ),
    Term("Displacement", "The size of an engine: the volume that all its pistons sweep.", ("displacement",)),
    Term(
        "Duration",
        "For how many crank degrees a valve stands open, counted at a stated lift.",
        ("intake_open", "exhaust_open"),
    ),
    Term(
        "Effective compression ratio",
        "The squeeze that is left after the intake valve has shut; it decides which fuel the engine needs.",
        ("effective_compression_ratio",),
    ),
    Term("End play", "How far a shaft can move lengthwise.", ("crank_end_play", "cam_end_play")),
    Term(
        "Noise",
        "How far two pulls differ with nothing changed; a gain must be larger to be believed.",
        ("repeatability",),
    ),
    Term(
        "Flow bench",
        "A machine that draws air through a port at a set pressure and measures how much passes.",
        ("flow_at_depression", "exhaust_flow_at_depression"),
    ),
    Term("Horsepower", "An older unit of power: 1 hp is 0.746 kW."),
    Term("Installed height", "How long a valve spring is in its place with the valve shut."),
    Term("Journal", "The polished part of a shaft that turns in a bearing."),
    Term("Lambda", "The mixture against the one that burns completely: below 1 rich, above 1 lean."),
    Term("Lash", "The small gap between rocker and valve that keeps the valve shut when it grows hot."),
    Term(
        "Leak-down",
        "Air pressed into a cylinder with the piston at the top: the share that escapes shows how well it seals.",
    ),
    Term(
        "Lifter preload",
        "How far a hydraulic lifter's plunger is pressed in when the valve is shut.",
        ("lifter_preload",),
    ),
    Term("Lobe", "The egg-shaped part of the camshaft that opens a valve."),
    Term(
        "Lobe separation",
        "The angle between the intake and the exhaust lobe of a cam, in cam degrees.",
        ("lobe_separation",),
    ),
    Term(
        "Mean piston speed",
        "How fast the pistons travel on average, which says how hard an engine of any size is worked.",
        ("mean_piston_speed",),
    ),
    Term("Nut factor", "A number for the friction of thread and head, needed to guess a bolt's pull from its torque."),
    Term(
        "Oil clearance",
        "The gap between journal and bearing that the oil fills.",
        ("main_oil_clearance", "rod_oil_clearance", "cam_oil_clearance"),
    ),
    Term("Overlap", "Crank degrees for which intake and exhaust valve are open together.", ("overlap",)),
    Term("Piston clearance", "The gap between piston and bore.", ("piston_clearance",)),
    Term("Piston to valve", "The least gap between an open valve and the piston.", ("piston_to_valve",)),
    Term("Power", "How fast work is done: torque times engine speed.", ("peak_power",)),
    Term("Preload of a bolt", "How hard a tightened bolt presses its joint together.", ("fastener_preload",)),
    Term("Priming", "Filling an engine's oil passages under pressure before it first turns."),
    Term("Pull", "One run on the brake, from low to high engine speed at full throttle."),
    Term(
        "Quench", "The gap between piston and head at the top, which squeezes the charge into the chamber.", ("quench",)
    ),
    Term("Red line", "The highest engine speed the builder allows."),
    Term(
        "Ring gap",
        "The gap between the ends of a piston ring, left for it to grow into when hot.",
        ("top_ring_gap", "second_ring_gap"),
    ),
    Term("Rocker ratio", "How much further a valve moves than the lobe that lifts it."),
    Term("Rod ratio", "The length of the connecting rod against the stroke.", ("rod_ratio",)),
    Term("Seat load", "How hard a spring holds its valve shut.", ("seat_load",)),
    Term("Skim", "Taking the least cut that makes a face flat."),
    Term("Stretch", "How much longer a bolt has become under load: the surest measure of how tight it is."),
    Term("Stroke", "How far the piston travels from top to bottom."),
    Term("Top dead centre", "The highest point of the piston's travel; bottom dead centre is the lowest."),
    Term("Torque", "How hard an engine twists; at any speed it decides how hard it pulls.", ("peak_torque",)),
    Term("Torque band", "The engine speeds over which at least 90 % of the peak torque is there.", ("torque_band",)),
    Term("Valve lift", "How far a valve opens.", ("valve_lift",)),
    Term(
        "Volumetric efficiency",
        "Air taken in, against what the cylinders would hold at the air's density outside.",
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
