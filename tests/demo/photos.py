"""The pictures of the demonstration archive: engine parts built from plain solids, lit like a workbench."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from PIL import Image

from tests.demo.photo_overlays import degree_face, dial, rule, texture
from tests.demo.renderer import (
    ALUMINIUM,
    BENCH,
    BRASS,
    BRIGHT_STEEL,
    CLOTH,
    DARK_IRON,
    IRON,
    PAINT_GREEN,
    PAINT_RED,
    STEEL,
    Camera,
    Parts,
    Points,
    Solid,
    Surface,
    at,
    ball,
    blended,
    both,
    box,
    cone,
    cylinder,
    either,
    fins,
    hexagon,
    jpeg,
    lobe,
    near,
    picture,
    torus,
    turned,
    without,
)


def _streaks(axis: int, pitch: float, depth: float) -> Callable[[Points], Points]:
    """Tool marks: a slight ripple of the normal along one axis."""

    def ripple(p: Points) -> Points:
        out = np.zeros_like(p)
        along = p[:, axis]
        out[:, axis] = depth * (np.sin(along * 6.283 / pitch) + 0.6 * np.sin(along * 6.283 / pitch * 0.37 + 1.3))
        return out

    return ripple


def _turned_marks(depth: float, pitch: float = 0.06) -> Callable[[Points], Points]:
    """Tool marks of a lathe: rings about the z axis."""

    def ripple(p: Points) -> Points:
        r = np.hypot(p[:, 0], p[:, 1]) + 1e-6
        wave = depth * np.sin(r * 6.283 / pitch)
        out = np.zeros_like(p)
        out[:, 0], out[:, 1] = wave * p[:, 0] / r, wave * p[:, 1] / r
        return out

    return ripple


def _planks(p: Points) -> Points:
    grain = 0.5 + 0.5 * np.sin(p[:, 1] * 7 + 1.6 * np.sin(p[:, 0] * 0.5) + 0.6 * np.sin(p[:, 1] * 31))
    seam = np.where(np.abs(np.mod(p[:, 1], 6.0) - 3.0) > 2.96, 0.35, 1.0)
    base = np.array([[0.34, 0.235, 0.15]]) * (0.86 + 0.13 * grain[:, None]) * seam[:, None]
    return base.astype(np.float32)


def _weave(p: Points) -> Points:
    thread = 0.9 + 0.1 * np.sin(p[:, 0] * 26) * np.sin(p[:, 1] * 26)
    return (np.array([[0.23, 0.29, 0.34]]) * thread[:, None]).astype(np.float32)


WOOD = replace(BENCH, colour=_planks)
RAG = replace(CLOTH, colour=_weave)
MILLED = replace(IRON, colour=(0.58, 0.58, 0.59), metal=0.95, rough=0.34, brushed=_streaks(0, 0.16, 0.012))
FACED = replace(ALUMINIUM, brushed=_streaks(0, 0.22, 0.012))


def _bench(z: float = 0.0) -> Solid:
    return at(box(200, 200, 2), z=z - 2)


def _gauge(hand: float) -> list[tuple[Solid, Surface]]:
    """A dial gauge standing on its stem, facing -y, the middle of its face at the origin."""
    face = texture(dial(hand), 4.7, (0, 2))
    return [
        (without(cylinder(2.75, 0.85, 0.15, axis=1), at(cylinder(2.4, 0.4, axis=1), y=-0.9)), BRIGHT_STEEL),
        (at(cylinder(2.39, 0.06, axis=1), y=-0.5), Surface(face, 0.0, 0.6)),
        (either(at(cylinder(0.42, 1.2), z=-3.6), at(cylinder(0.22, 1.4), z=-5.6), at(ball(0.24), z=-7.0)), STEEL),
    ]


def deck_gauge() -> Image.Image:
    """A piston at the top of its bore, a dial gauge on a bridge across it."""
    bores = [at(cylinder(4.07, 6), x=x) for x in (-9.4, 0.0, 9.4)]
    holes = [at(cylinder(0.55, 5), x=x, y=y) for x in (-14.1, -4.7, 4.7, 14.1) for y in (-5.6, 5.6)]
    water = [at(cylinder(0.42, 5), x=x, y=y) for x in (-10.6, -7.2, -1.7, 1.7, 7.2, 10.6) for y in (-5.2, 5.2)]
    block = without(at(box(21, 8.4, 5, 0.12), z=-5), *bores, *holes, *water)
    crown = without(
        cylinder(4.02, 2.2, 0.06), at(ball(9.0), z=11.0), at(turned(cylinder(1.7, 0.5), "x", 8), y=1.7, z=2.45)
    )
    pistons = [near(at(crown, x=x, z=z), x, 0, z, 5.2) for x, z in ((-9.4, -7.4), (0.0, -2.25), (9.4, -7.4))]
    foot = either(at(box(0.8, 0.9, 1.15, 0.1), x=-5.3, z=1.15), at(box(0.8, 0.9, 1.15, 0.1), x=5.3, z=1.15))
    bridge = either(at(box(6.3, 0.9, 0.5, 0.12), z=2.75), foot)
    parts: Parts = [
        (block, MILLED),
        (either(*pistons), replace(ALUMINIUM, brushed=_turned_marks(0.05, 0.12))),
        (bridge, BRIGHT_STEEL),
    ]
    parts += [(at(solid, z=7.0), replace(s, colour=_lifted(s, 7.0))) for solid, s in _gauge(85.0)]
    return picture(parts, Camera((-9.5, -25, 16.5), (0.4, 0, 2.0), 2.3))


def _lifted(surface: Surface, z: float) -> Colour_:
    """A texture that moves with the part it is on."""
    colour = surface.colour
    if not callable(colour):
        return colour
    return lambda p: colour(p - np.array([0, 0, z], dtype=np.float32))


Colour_ = tuple[float, float, float] | Callable[[Points], Points]


def _piston(pin: float, radius: float = 4.05, height: float = 7.0) -> Solid:
    """A piston standing on its skirt, its pin so far below the crown."""
    body = cylinder(radius, height / 2, 0.06)
    grooves = [
        without(at(cylinder(radius + 1, t), z=height / 2 - z), cylinder(radius - 0.42, height))
        for z, t in ((0.75, 0.09), (1.25, 0.09), (1.85, 0.16))
    ]
    z = height / 2 - pin
    hole = at(cylinder(1.05, 6, axis=1), z=z)
    waist = [at(box(3.0, 0.9, 2.3, 0.5), y=y, z=-height / 2 + 1.5) for y in (-4.4, 4.4)]
    inside = at(cylinder(3.3, 2.6, 0.4), z=-height / 2)
    boss = both(at(cylinder(1.75, 3.45, axis=1), z=z), cylinder(radius, height / 2))
    shell = without(body, inside, *waist)
    return at(without(either(shell, boss), hole, *grooves), z=height / 2)


def wrong_pin_height() -> Image.Image:
    """Two pistons of one bore side by side, their pins at different heights."""
    left = near(at(_piston(3.3), x=-5.6), -5.6, 0, 3.5, 5.9)
    right = near(at(_piston(4.05), x=5.6), 5.6, 0, 3.5, 5.9)
    colour = texture(rule(), 9.0, (0, 2))
    blade = at(box(0.95, 0.06, 4.5, 0.02), z=4.5)
    parts: Parts = [
        (either(left, right), ALUMINIUM),
        (at(blade, y=-1.6), Surface(lambda p: colour(p - np.array([0, 0, 4.5], dtype=np.float32)), 0.35, 0.4)),
        (at(box(1.6, 1.0, 0.5, 0.1), y=-1.0, z=0.5), DARK_IRON),
        (_bench(), WOOD),
    ]
    return picture(parts, Camera((-2.5, -31, 9.5), (0, 0, 3.4), 3.1))


def head_face() -> Image.Image:
    """The face of a head: chambers, valves, bolt holes."""
    parts: Parts = []
    centres = (-14.1, -4.7, 4.7, 14.1)
    chambers = [
        blended(at(ball(5.4), x=x - 0.3, y=0.9, z=3.7), at(ball(5.0), x=x + 0.5, y=-0.9, z=3.6), 0.6) for x in centres
    ]
    limit = [at(cylinder(4.0, 3), x=x) for x in centres]
    pockets = [near(both(c, m), x, 0, -0.5, 5.2) for c, m, x in zip(chambers, limit, centres, strict=True)]
    holes = [at(cylinder(0.62, 6), x=x, y=y) for x in (-18.8, -9.4, 0, 9.4, 18.8) for y in (-5.4, 5.4)]
    water = [at(cylinder(0.48, 6), x=x, y=y) for x in (-16, -12.2, -6.6, -2.8, 2.8, 6.6, 12.2, 16) for y in (-5.1, 5.1)]
    plugs = [at(cylinder(0.62, 6), x=x - 2.1, y=-1.9, z=0) for x in centres]
    head = without(at(box(23, 7.6, 4, 0.15), z=-4), *pockets, *holes, *water, *plugs)
    parts.append((head, FACED))
    intake = [near(at(_valve(1.9), x=x - 0.6, y=1.62, z=-1.25), x - 0.6, 1.62, -1.4, 2.4) for x in centres]
    exhaust = [near(at(_valve(1.6), x=x + 0.9, y=-1.85, z=-1.3), x + 0.9, -1.85, -1.4, 2.1) for x in centres]
    parts.append((either(*intake), replace(STEEL, rough=0.2)))
    parts.append((either(*exhaust), replace(STEEL, colour=(0.66, 0.60, 0.55))))
    parts.append((_bench(-8.0), WOOD))
    return picture(parts, Camera((-15, -25, 24), (-1.0, -0.3, -1.2), 2.25))


def _valve(radius: float) -> Solid:
    head = either(at(cylinder(radius, 0.16, 0.05), z=0), at(cone(0.6, radius, 0.35), z=-0.5))
    return without(head, at(ball(radius * 2.2), z=radius * 2.2 + 0.08))


def bearing_shells() -> Image.Image:
    """Bearing shells laid out in order, one with a strip of plastic gauge on it."""
    shell = without(
        both(cylinder(2.9, 1.05, axis=1), at(box(4, 2, 2), z=-2)),
        cylinder(2.68, 2, axis=1),
        both(cylinder(2.75, 0.16, axis=1), at(box(4, 2, 2), z=-1.2)),
        at(cylinder(0.28, 5), z=-2),
    )
    backs = turned(shell, "y", 180)
    parts: Parts = []
    lining = Surface((0.66, 0.66, 0.68), 1.0, 0.36)
    for index, x in enumerate((-13.6, -6.8, 0.0, 6.8, 13.6)):
        parts.append((near(turned_at(shell, x, 3.2, 2.9, 4 * np.sin(index * 2.1)), x, 3.2, 1.5, 3.6), lining))
        laid = near(turned_at(backs, x, -2.6, 0.02, -5 * np.cos(index * 1.7)), x, -2.6, 1.5, 3.6)
        parts.append((laid, replace(lining, colour=(0.74, 0.72, 0.68))))
    strip = both(at(cylinder(2.69, 0.7, axis=1), z=0), without(at(box(0.12, 0.75, 3), z=-2), cylinder(2.62, 2, axis=1)))
    parts.append((turned_at(strip, 0.0, 3.2, 2.92, 4 * np.sin(2 * 2.1)), Surface((0.15, 0.55, 0.25), 0.0, 0.5)))
    parts.append((_bench(), RAG))
    return picture(parts, Camera((-6.5, -25, 17), (-0.6, -0.2, 0.9), 2.2))


def turned_at(solid: Solid, x: float, y: float, z: float, degrees: float) -> Solid:
    """A part laid down a little askew."""
    return at(turned(solid, "z", degrees), x, y, z)


def degree_wheel() -> Image.Image:
    """A degree wheel on the crank's nose, a wire pointer at its edge."""
    colour = texture(degree_face(-106.0), 18.2, (0, 2))
    slots = [at(turned(at(box(1.0, 2, 1.5, 0.8), x=0, z=4.2), "y", a), y=-3.0) for a in (20, 92, 164, 236, 308)]
    wheel = without(at(cylinder(9.0, 0.09, axis=1), y=-3.0), *slots)
    wall = without(at(box(16, 1.5, 14, 0.4), y=3.4), at(cylinder(5.2, 3, axis=1), x=2.0, z=9.4))
    cover = either(
        wall,
        *[at(cylinder(0.9, 1.9, 0.15, axis=1), x=x, y=3.2, z=z) for x, z in ((-13, 10), (13, 10), (-13, -9), (13, -9))],
    )
    pointer = both(
        either(
            turned(at(cylinder(0.10, 3.2), z=11.8), "y", 0),
            at(cylinder(0.10, 2.8, axis=1), y=-0.6, z=15.0),
        ),
        at(box(30, 30, 30), z=0),
    )
    tip = at(cone(0.02, 0.10, 0.5), z=8.2)
    bolt = either(at(turned(hexagon(2.3, 0.75, 0.08), "x", 90), y=-4.1), at(cylinder(1.75, 0.2, 0.05, axis=1), y=-3.3))
    parts: Parts = [
        (wheel, Surface(colour, 0.25, 0.42)),
        (cover, PAINT_GREEN),
        (
            either(at(cylinder(1.5, 2.5, axis=1), y=-0.4), at(cylinder(4.6, 0.7, 0.1, axis=1), x=2.0, y=2.4, z=9.4)),
            STEEL,
        ),
        (bolt, BRIGHT_STEEL),
        (at(either(pointer, tip), y=-3.25), BRASS),
    ]
    return picture(parts, Camera((-10.5, -33, 6.5), (0.3, 0, 1.9), 2.7, light=(-0.5, -0.9, 0.75)))


def cam_lobes() -> Image.Image:
    """A camshaft on V-blocks, one lobe worn almost round."""
    shaft = cylinder(1.05, 19, axis=0)
    journals = [at(cylinder(1.75, 0.9, 0.08, axis=0), x=x) for x in (-14.5, 0.0, 14.5)]
    angles = (20, 110, 290, 325, 20, 300)
    places = (-11.6, -8.4, -4.2, 3.6, 7.2, 10.9)
    noses = (0.62, 0.62, 0.62, 0.62, 0.95, 0.62)
    reach = (1.75, 1.75, 1.75, 1.75, 0.72, 1.75)
    lobes = [
        near(at(turned(lobe(1.55, nose, far, 0.75), "x", angle), x=x), x, 0, 0, 3.2)
        for x, angle, nose, far in zip(places, angles, noses, reach, strict=True)
    ]
    vee = without(at(box(1.3, 3.0, 1.9, 0.1), z=-2.6), at(turned(box(3, 2.2, 2.2), "x", 45), z=0.75))
    blocks = [at(vee, x=x) for x in (-14.5, 14.5)]
    polished = replace(STEEL, colour=(0.70, 0.70, 0.71), rough=0.2)
    parts: Parts = [
        (either(shaft, *journals), STEEL),
        *[
            (solid, replace(polished, rough=0.55, colour=(0.62, 0.58, 0.54)) if i == 4 else polished)
            for i, solid in enumerate(lobes)
        ],
        (either(*blocks), IRON),
        (_bench(-4.5), WOOD),
    ]
    return picture(parts, Camera((11.5, -17.5, 9.5), (5.2, 0, -0.6), 2.35))


def finned_barrels() -> Image.Image:
    """Two air-cooled barrels on their crankcase, the domed pistons at the top."""
    parts: Parts = []
    iron = replace(DARK_IRON, colour=(0.13, 0.13, 0.14), rough=0.5)
    for x in (-6.3, 6.3):
        tube = without(cylinder(4.7, 4.6), cylinder(3.55, 8))
        plates = fins(without(at(box(5.9, 6.2, 6, 1.6), z=4), cylinder(3.55, 12)), 1.02, 0.13, 9)
        studs = [at(cylinder(0.3, 1.0), x=a, y=b, z=9.3) for a in (-4.35, 4.35) for b in (-4.35, 4.35)]
        barrel = either(at(tube, z=4.3), plates, without(at(cylinder(4.55, 0.25), z=8.9), cylinder(3.55, 12)))
        parts.append((near(at(barrel, x=x), x, 0, 4.2, 10.2), iron))
        parts.append((at(either(*studs), x=x), BRIGHT_STEEL))
        crown = both(at(cylinder(3.5, 3.0, 0.05), z=5.2), at(ball(4.9), z=4.45))
        parts.append((at(crown, x=x, z=0.15), replace(ALUMINIUM, rough=0.35)))
    case = at(box(13.6, 6.8, 2.4, 0.7), z=-3.0)
    parts.append((case, replace(ALUMINIUM, rough=0.5)))
    parts.append((_bench(-5.4), WOOD))
    return picture(parts, Camera((-16, -27, 21), (0.0, 0, 3.0), 2.45))


def barrel_ports() -> Image.Image:
    """A two-stroke barrel cut in half: the exhaust port high at the back, transfers to either side."""
    wall = without(cylinder(5.2, 6.0, 0.1), cylinder(3.1, 8))
    jacket = both(without(cylinder(4.75, 8), cylinder(3.75, 8)), at(box(9, 9, 1.7, 0.3), z=3.6))
    exhaust = at(box(1.75, 3.5, 1.2, 0.55), y=4.5, z=1.6)
    transfers = [turned(at(box(1.15, 3, 0.85, 0.3), y=4.4, z=0.55), "z", a) for a in (-62, 62)]
    front = at(box(9, 4, 9), y=-4.05)
    flange = at(box(5.9, 5.9, 0.5, 0.4), z=-5.5)
    half = without(either(wall, without(flange, cylinder(3.1, 8))), jacket, exhaust, *transfers, front)
    piston = either(at(cylinder(3.05, 2.2, 0.08), z=-2.6))
    ring = at(torus(3.04, 0.07), z=-0.95)
    parts: Parts = [
        (near(half, 0, 0, 0, 10.5), replace(ALUMINIUM, rough=0.38)),
        (
            without(piston, at(torus(3.06, 0.12), z=-0.95), at(cylinder(0.85, 5, axis=1), z=-3.2)),
            replace(BRIGHT_STEEL, rough=0.3),
        ),
        (ring, BRASS),
        (_bench(-6.0), RAG),
    ]
    return picture(parts, Camera((-7, -24, 9), (0, 0.5, -0.2), 3.3, light=(-0.35, -0.85, 0.8)))


def crankshaft() -> Image.Image:
    """A V8's crankshaft lying in the balancing stand."""
    throws = (0, 90, 270, 180)
    pitch, thick = 5.4, 0.55
    parts: Parts = []
    shaft: list[Solid] = []
    webs: list[Solid] = []
    for i in range(5):
        shaft.append(at(cylinder(1.75, 0.95, 0.06, axis=0), x=(i - 2) * pitch))
    for i, angle in enumerate(throws):
        x = (i - 1.5) * pitch
        shaft.append(near(at(turned(at(cylinder(1.4, 1.2, 0.05, axis=0), z=2.6), "x", angle), x=x), x, 0, 0, 5.0))
        for side in (-1.5, 1.5):
            web = either(lobe(2.1, 1.75, 2.6, thick), turned(lobe(2.1, 2.9, 1.5, thick), "x", 180))
            trimmed = both(web, cylinder(4.3, 3, axis=0))
            webs.append(near(at(turned(trimmed, "x", angle), x=x + side), x + side, 0, 0, 5.2))
    shaft.append(at(cylinder(1.2, 2.2, 0.1, axis=0), x=-13.4))
    shaft.append(at(cylinder(4.2, 0.5, 0.1, axis=0), x=12.4))
    parts.append((either(*shaft), replace(BRIGHT_STEEL, rough=0.16)))
    parts.append((either(*webs), replace(IRON, colour=(0.47, 0.45, 0.43), rough=0.5)))
    stand = without(at(box(0.5, 3.2, 3.4, 0.1), z=-3.6), at(cylinder(1.85, 3, axis=0)))
    parts.append((either(at(stand, x=-2 * pitch), at(stand, x=2 * pitch)), PAINT_RED))
    parts.append((_bench(-7.0), WOOD))
    return picture(parts, Camera((-13, -31, 15), (-0.4, 0, -1.2), 2.65))


def jets() -> Image.Image:
    """Main jets in a row on a rag, smallest to largest."""
    parts: Parts = []
    for index in range(6):
        x = (index - 2.5) * 2.55
        bore = 0.16 + 0.028 * index
        thread = without(_threaded(0.62, 1.2, 0.22), at(cylinder(bore, 5)))
        head = without(
            at(cylinder(0.86, 0.42, 0.06), z=1.55), at(cylinder(bore + 0.05, 5)), at(box(2, 0.09, 0.22), z=2.0)
        )
        solid = turned(either(thread, head), "z", 25 * index + 10)
        parts.append((near(at(solid, x=x, y=0.25 * np.sin(index * 2.3), z=1.2), x, 0, 1.6, 2.6), BRASS))
    drill = either(at(cylinder(0.16, 5.2, axis=0), x=1.0), at(cylinder(0.42, 2.4, 0.1, axis=0), x=-5.4))
    parts.append((turned(at(drill, y=-2.6, z=0.42), "z", -6), STEEL))
    parts.append((_bench(), RAG))
    return picture(parts, Camera((-5, -15, 9.0), (0.1, -0.4, 0.7), 2.35))


def _threaded(radius: float, half: float, pitch: float) -> Solid:
    plain = cylinder(radius, half)

    def inside(p: Points) -> Points:
        angle = np.arctan2(p[:, 1], p[:, 0]) / (2 * np.pi)
        return (plain(p) + 0.05 * np.sin(2 * np.pi * (p[:, 2] / pitch - angle))) * 0.7

    return inside


def make(name: str) -> bytes:
    """One picture as JPEG bytes."""
    return jpeg(_PICTURES[name]())


_PICTURES: dict[str, Callable[[], Image.Image]] = {
    "pilot-launch-four/photos/pin-height.jpg": wrong_pin_height,
    "pilot-launch-four/photos/deck.jpg": deck_gauge,
    "pilot-launch-four/photos/head-face.jpg": head_face,
    "breakdown-truck-v8/photos/cam-as-received.jpg": cam_lobes,
    "breakdown-truck-v8/photos/shells.jpg": bearing_shells,
    "breakdown-truck-v8/photos/degree-wheel.jpg": degree_wheel,
    "grasstrack-sidecar-twin/photos/barrels.jpg": finned_barrels,
    "hydroplane-two-stroke/photos/ports.jpg": barrel_ports,
    "methanol-speed-single/photos/jets.jpg": jets,
    "offshore-v8/photos/crankshaft.jpg": crankshaft,
}
NAMES = tuple(_PICTURES)
