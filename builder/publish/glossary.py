"""The words of the trade, one sentence each: for the Glossary page, and for a word hovered over on a build's page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """One word of the trade. `figures`: slugs of the figures and fields whose name it explains."""

    word: str
    says: str
    figures: tuple[str, ...] = ()

    @property
    def anchor(self) -> str:
        """Its address on the Glossary page."""
        return "".join(letter if letter.isalnum() else "-" for letter in self.word.lower()).strip("-")


_WORDS: tuple[Word, ...] = (
    Word(
        "Air-fuel ratio",
        "Pounds of air to each pound of fuel (or kilograms to each kilogram) in what the engine burns.",
    ),
    Word(
        "Balance", "Weighing and trimming pistons, rods and crankshaft so that the engine does not shake itself apart."
    ),
    Word(
        "Bmep",
        "Torque divided by the size of the engine: the steady pressure on the pistons that would give it.",
        ("bmep",),
    ),
    Word(
        "Bobweight",
        "The weight hung on a crankpin in the balancing machine to stand for rod and piston.",
        ("bobweight",),
    ),
    Word(
        "Bore",
        "The diameter of a cylinder, or the cylinder itself.",
        ("bore_stroke_ratio", "bore_taper", "bore_out_of_round"),
    ),
    Word("Brake", "The dyno: a machine that holds an engine back and weighs how hard it twists."),
    Word("Bsfc", "Fuel burnt for each unit of work: the lower, the thriftier.", ("bsfc",)),
    Word(
        "Cam card",
        "The sheet the cam's maker packs with it: lift, durations and where the cam should be put in.",
        ("card_difference",),
    ),
    Word(
        "Centreline",
        "Where a valve is fully open, in crank degrees from top dead centre.",
        ("installed_centreline", "exhaust_centreline"),
    ),
    Word("Chamber", "The hollow in the cylinder head in which the charge burns."),
    Word("Clearance volume", "All the space above a piston that stands at the top.", ("clearance_volume",)),
    Word(
        "Coil bind",
        "A valve spring pressed together until its coils touch; short of that there must be travel left.",
        ("coil_bind_clearance",),
    ),
    Word("Compression height", "From the middle of the piston's pin to the flat of its crown."),
    Word(
        "Compression ratio",
        "How far the charge is squeezed: the space above the piston at the bottom, divided by what is left at the top.",
        ("compression_ratio", "compression_if"),
    ),
    Word(
        "Correction",
        "Turning what the brake read on the day into what it would have read in standard weather.",
        ("correction_factor",),
    ),
    Word(
        "Cranking compression",
        "The pressure each cylinder builds when the starter turns the engine with the throttle open.",
    ),
    Word("Crankpin", "The journal of the crankshaft that a rod turns on."),
    Word("Crush", "The little by which a bearing shell stands proud of its housing, so that tightening holds it fast."),
    Word("Curtain area", "The ring-shaped window between an open valve and its seat.", ("curtain_area",)),
    Word("Deck", "The top face of the block, to which the head is bolted."),
    Word(
        "Deck clearance", "How far the piston stops below the deck; negative when it stands proud.", ("deck_clearance",)
    ),
    Word(
        "Degreeing", "Finding with a degree wheel and a dial gauge where a camshaft really opens and shuts the valves."
    ),
    Word("Detonation", "Fuel that goes off by itself instead of burning: it breaks pistons before it is heard."),
    Word(
        "Discharge coefficient",
        "How much of the window that its valve opens a port really uses; 1 would be perfect.",
        ("discharge_coefficient",),
    ),
    Word(
        "Dish",
        "A hollow in the piston's crown, which lowers the compression ratio; a dome raises it.",
        ("crown_volume",),
    ),
    Word("Displacement", "The size of an engine: the volume that all its pistons sweep.", ("displacement",)),
    Word(
        "Duration",
        "For how many crank degrees a valve stands open, counted at a stated lift.",
        ("intake_open", "exhaust_open"),
    ),
    Word(
        "Effective compression ratio",
        "The squeeze that is left after the intake valve has shut; it decides which fuel the engine needs.",
        ("effective_compression_ratio",),
    ),
    Word("End float", "How far a shaft can move lengthwise.", ("crank_end_float", "cam_end_float")),
    Word(
        "Noise",
        "How far two pulls differ with nothing changed; a gain must be larger to be believed.",
        ("repeatability",),
    ),
    Word(
        "Flow bench",
        "A machine that draws air through a port at a set pressure and measures how much passes.",
        ("flow_at_depression", "exhaust_flow_at_depression"),
    ),
    Word("Horsepower", "An older unit of power: 1 hp is 0.746 kW."),
    Word("Installed height", "How long a valve spring is in its place with the valve shut."),
    Word("Journal", "The polished part of a shaft that turns in a bearing."),
    Word("Lambda", "The mixture against the one that burns completely: below 1 rich, above 1 lean."),
    Word("Lash", "The small gap between rocker and valve that keeps the valve shut when it grows hot."),
    Word(
        "Leak-down",
        "Air pressed into a cylinder with the piston at the top: the share that escapes shows how well it seals.",
    ),
    Word(
        "Lifter preload",
        "How far a hydraulic lifter's plunger is pressed in when the valve is shut.",
        ("lifter_preload",),
    ),
    Word("Lobe", "The egg-shaped part of the camshaft that opens a valve."),
    Word(
        "Lobe separation",
        "The angle between the intake and the exhaust lobe of a cam, in cam degrees.",
        ("lobe_separation",),
    ),
    Word(
        "Mean piston speed",
        "How fast the pistons travel on average, which says how hard an engine of any size is worked.",
        ("mean_piston_speed",),
    ),
    Word("Nut factor", "A number for the friction of thread and head, needed to guess a bolt's pull from its torque."),
    Word(
        "Oil clearance",
        "The gap between journal and bearing that the oil fills.",
        ("main_oil_clearance", "rod_oil_clearance", "cam_oil_clearance"),
    ),
    Word("Overlap", "Crank degrees for which intake and exhaust valve are open together.", ("overlap",)),
    Word("Piston clearance", "The gap between piston and bore.", ("piston_clearance",)),
    Word("Piston to valve", "The least gap between an open valve and the piston.", ("piston_to_valve",)),
    Word("Power", "How fast work is done: torque times engine speed.", ("peak_power",)),
    Word("Preload of a bolt", "How hard a tightened bolt presses its joint together.", ("fastener_preload",)),
    Word("Priming", "Filling an engine's oil passages under pressure before it first turns."),
    Word("Pull", "One run on the brake, from low to high engine speed at full throttle."),
    Word(
        "Quench", "The gap between piston and head at the top, which squeezes the charge into the chamber.", ("quench",)
    ),
    Word("Red line", "The highest engine speed the builder allows."),
    Word(
        "Ring gap",
        "The gap between the ends of a piston ring, left for it to grow into when hot.",
        ("top_ring_gap", "second_ring_gap"),
    ),
    Word("Rocker ratio", "How much further a valve moves than the lobe that lifts it."),
    Word("Rod ratio", "The length of the connecting rod against the stroke.", ("rod_ratio",)),
    Word("Seat load", "How hard a spring holds its valve shut.", ("seat_load",)),
    Word("Skim", "Taking the least cut that makes a face flat."),
    Word("Stretch", "How much longer a bolt has become under load: the surest measure of how tight it is."),
    Word("Stroke", "How far the piston travels from top to bottom."),
    Word("Top dead centre", "The highest point of the piston's travel; bottom dead centre is the lowest."),
    Word("Torque", "How hard an engine twists; at any speed it decides how hard it pulls.", ("peak_torque",)),
    Word("Torque band", "The engine speeds over which at least 90 % of the peak torque is there.", ("torque_band",)),
    Word("Valve lift", "How far a valve opens.", ("valve_lift",)),
    Word(
        "Volumetric efficiency",
        "Air taken in, against what the cylinders would hold at the air's density outside.",
        ("volumetric_efficiency",),
    ),
)
GLOSSARY = tuple(sorted(_WORDS, key=lambda word: word.word.lower()))


def words_for(slugs: Iterable[str]) -> dict[str, Word]:
    """The word that explains each of these figures, each word only where it first comes up."""
    by_figure = {slug: word for word in GLOSSARY for slug in word.figures}
    found: dict[str, Word] = {}
    said: set[str] = set()
    for slug in slugs:
        word = by_figure.get(slug)
        if word is not None and word.word not in said:
            found[slug] = word
            said.add(word.word)
    return found
