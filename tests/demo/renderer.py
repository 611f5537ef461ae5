"""A small sphere tracer: solids given as distance functions, metal with a workshop window reflected in it.

Lengths are in scene units (centimetres, more or less). All arrays are float32 of shape (n, 3) or (n,).
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Points = NDArray[np.float32]
Solid = Callable[[Points], Points]
Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Surface:
    """What a solid looks like: its colour (or one for each point), how metallic, how rough."""

    colour: Colour | Callable[[Points], Points]
    metal: float = 1.0
    rough: float = 0.3
    brushed: Callable[[Points], Points] | None = None
    """A small change of the normal, for tool marks."""


STEEL = Surface((0.72, 0.73, 0.75), 1.0, 0.28)
BRIGHT_STEEL = Surface((0.86, 0.87, 0.88), 1.0, 0.12)
ALUMINIUM = Surface((0.80, 0.81, 0.82), 1.0, 0.42)
IRON = Surface((0.40, 0.40, 0.41), 0.75, 0.55)
DARK_IRON = Surface((0.20, 0.20, 0.21), 0.45, 0.7)
BRASS = Surface((0.84, 0.66, 0.33), 1.0, 0.25)
BENCH = Surface((0.33, 0.24, 0.17), 0.0, 0.9)
CLOTH = Surface((0.30, 0.36, 0.40), 0.0, 1.0)
PAINT_GREEN = Surface((0.15, 0.27, 0.23), 0.0, 0.45)
PAINT_RED = Surface((0.44, 0.11, 0.09), 0.0, 0.4)
BLACK = Surface((0.05, 0.05, 0.055), 0.0, 0.4)


# ---- solids ---------------------------------------------------------------------------------------------------


def at(solid: Solid, x: float = 0, y: float = 0, z: float = 0) -> Solid:
    """The solid moved."""
    offset = np.array([x, y, z], dtype=np.float32)
    return lambda p: solid(p - offset)


def turned(solid: Solid, axis: str, degrees: float) -> Solid:
    """The solid turned about one axis through the origin."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]

    def inside(p: Points) -> Points:
        q = p.copy()
        q[:, i], q[:, j] = c * p[:, i] + s * p[:, j], -s * p[:, i] + c * p[:, j]
        return solid(q)

    return inside


def box(x: float, y: float, z: float, round_: float = 0.0) -> Solid:
    """A box of half sizes x, y, z, its edges rounded."""
    half = np.array([x - round_, y - round_, z - round_], dtype=np.float32)

    def inside(p: Points) -> Points:
        q = np.abs(p) - half
        out = np.sqrt((np.maximum(q, 0) ** 2).sum(1))
        return out + np.minimum(q.max(1), 0) - round_

    return inside


def cylinder(radius: float, half: float, round_: float = 0.0, axis: int = 2) -> Solid:
    """A cylinder along an axis (0 x, 1 y, 2 z), half its length each way."""
    others = [i for i in range(3) if i != axis]

    def inside(p: Points) -> Points:
        r = np.hypot(p[:, others[0]], p[:, others[1]]) - (radius - round_)
        h = np.abs(p[:, axis]) - (half - round_)
        return np.minimum(np.maximum(r, h), 0) + np.hypot(np.maximum(r, 0), np.maximum(h, 0)) - round_

    return inside


def cone(low: float, high: float, half: float, axis: int = 2) -> Solid:
    """A frustum: radius `low` at -half, `high` at +half; a little less than the true distance, which is safe."""
    others = [i for i in range(3) if i != axis]
    slope = (high - low) / (2 * half)
    scale = 1 / np.sqrt(1 + slope**2)

    def inside(p: Points) -> Points:
        r = np.hypot(p[:, others[0]], p[:, others[1]]) - (low + slope * (p[:, axis] + half))
        return np.maximum(r * scale, np.abs(p[:, axis]) - half)

    return inside


def torus(big: float, small: float, axis: int = 2) -> Solid:
    """A ring of round section."""
    others = [i for i in range(3) if i != axis]

    def inside(p: Points) -> Points:
        return np.hypot(np.hypot(p[:, others[0]], p[:, others[1]]) - big, p[:, axis]) - small

    return inside


def ball(radius: float) -> Solid:
    """A ball."""
    return lambda p: np.sqrt((p**2).sum(1)) - radius


def hexagon(across: float, half: float, round_: float = 0.0) -> Solid:
    """A hexagonal prism along z, by its size across flats."""
    normals = [np.array([np.cos(a), np.sin(a), 0], dtype=np.float32) for a in np.radians([0, 60, 120])]

    def inside(p: Points) -> Points:
        flats = np.max([np.abs(p @ n) for n in normals], axis=0) - (across / 2 - round_)
        h = np.abs(p[:, 2]) - (half - round_)
        return np.minimum(np.maximum(flats, h), 0) + np.hypot(np.maximum(flats, 0), np.maximum(h, 0)) - round_

    return inside


def lobe(first: float, second: float, apart: float, half: float) -> Solid:
    """A cam or a crank web: two circles and their tangents, extruded along x; the second circle up along z."""
    b = (first - second) / apart
    a = np.sqrt(1 - b * b)

    def inside(p: Points) -> Points:
        y, z = np.abs(p[:, 1]), p[:, 2]
        k = -b * y + a * z
        flat = np.where(
            k < 0,
            np.hypot(y, z) - first,
            np.where(k > a * apart, np.hypot(y, z - apart) - second, a * y + b * z - first),
        )
        return np.maximum(flat, np.abs(p[:, 0]) - half)

    return inside


def fins(solid: Solid, pitch: float, half: float, count: int) -> Solid:
    """The solid sliced into `count` fins along z, from z = 0 upwards."""

    def inside(p: Points) -> Points:
        nearest = np.clip(np.round(p[:, 2] / pitch), 0, count - 1)
        return np.maximum(solid(p), np.abs(p[:, 2] - nearest * pitch) - half)

    return inside


def either(*solids: Solid) -> Solid:
    """All of them together."""
    return lambda p: np.min([s(p) for s in solids], axis=0)


def without(solid: Solid, *cut: Solid) -> Solid:
    """The first, with the others cut away."""
    return lambda p: np.maximum(solid(p), -np.min([c(p) for c in cut], axis=0))


def both(*solids: Solid) -> Solid:
    """What they share."""
    return lambda p: np.max([s(p) for s in solids], axis=0)


def near(solid: Solid, x: float, y: float, z: float, radius: float) -> Solid:
    """The same solid, looked at closely only within a ball that holds it: quicker to trace."""
    middle = np.array([x, y, z], dtype=np.float32)

    def inside(p: Points) -> Points:
        out = np.sqrt(((p - middle) ** 2).sum(1)) - radius
        close = out < 1.5
        if close.any():
            out[close] = solid(p[close])
        return out

    return inside


def blended(first: Solid, second: Solid, k: float) -> Solid:
    """Two solids with a fillet between them."""

    def inside(p: Points) -> Points:
        a, b = first(p), second(p)
        h = np.clip(0.5 + 0.5 * (b - a) / k, 0, 1)
        return b + (a - b) * h - k * h * (1 - h)

    return inside


# ---- light and camera -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Camera:
    """Where from, where to, and how long the lens."""

    eye: Colour
    target: Colour
    lens: float = 2.2
    light: Colour = (-0.55, -0.45, 0.85)
    far: float = 90.0


def _unit(v: Points) -> Points:
    return v / np.maximum(np.sqrt((v**2).sum(-1, keepdims=True)), 1e-9)


def _room(direction: Points, rough: float) -> Points:
    """What a polished part mirrors: a bright window up on the left, a strip lamp, walls, a dark floor."""
    up = direction[:, 2:3]
    wall = 0.10 + 0.24 * np.clip(up, 0, 1) ** 1.5 + 0.05 * np.clip(-up, 0, 1)
    soft = 0.05 + 0.55 * rough
    window = _bump(direction[:, 0:1], -0.55, 0.38, soft) * _bump(up, 0.62, 0.30, soft)
    lamp = _bump(direction[:, 1:2], 0.55, 0.16, soft) * _bump(up, 0.75, 0.35, soft)
    far_wall = _bump(direction[:, 0:1], 0.8, 0.2, soft) * _bump(up, 0.15, 0.25, soft)
    tint = np.array([[1.0, 0.98, 0.94]], dtype=np.float32)
    cool = np.array([[0.86, 0.93, 1.0]], dtype=np.float32)
    return (wall * tint + window * 1.25 * cool + lamp * 0.9 * tint + far_wall * 0.35 * tint).astype(np.float32)


def _bump(x: Points, middle: float, half: float, soft: float) -> Points:
    edge = np.clip((half + soft - np.abs(x - middle)) / (2 * soft), 0, 1)
    return edge * edge * (3 - 2 * edge)


Parts = list[tuple[Solid, Surface]]


def picture(parts: Parts, camera: Camera, width: int = 960, height: int = 640, over: float = 1.25) -> Image.Image:
    """Trace the parts and give the picture, drawn larger by `over` and sampled down."""
    w, h = int(width * over), int(height * over)
    solids = [solid for solid, _ in parts]
    origin = np.array(camera.eye, dtype=np.float32)
    forward = _unit(np.array(camera.target, dtype=np.float32) - origin)
    right = _unit(np.cross(forward, np.array([0, 0, 1], dtype=np.float32)))
    upward = np.cross(right, forward)
    x, y = np.meshgrid((np.arange(w) + 0.5 - w / 2) / (h / 2), (h / 2 - np.arange(h) - 0.5) / (h / 2))
    rays = _unit(
        (
            camera.lens * forward + x.reshape(-1, 1) * right.reshape(1, 3) + y.reshape(-1, 1) * upward.reshape(1, 3)
        ).astype(np.float32)
    )
    image = np.zeros((w * h, 3), dtype=np.float32)
    for band in np.array_split(np.arange(w * h), max(1, w * h // 60_000)):
        image[band] = _shade_rays(origin, rays[band], solids, parts, camera)
    shade = 1 - 0.16 * ((x / 1.5) ** 2 + y**2).reshape(-1, 1) / 2
    mapped = np.clip(image * shade * 0.78, 0, None)
    mapped = mapped * (2.51 * mapped + 0.03) / (mapped * (2.43 * mapped + 0.59) + 0.14)  # a film's curve
    mapped = np.clip(mapped, 0, 1) ** (1 / 2.2)
    whole = Image.fromarray((mapped.reshape(h, w, 3) * 255 + 0.5).astype(np.uint8))
    return whole.resize((width, height), Image.Resampling.LANCZOS)


def _nearest(solids: list[Solid], p: Points) -> Points:
    return np.min([s(p) for s in solids], axis=0)


def _march(
    solids: list[Solid], start: Points, rays: Points, far: float, steps: int
) -> tuple[NDArray[np.bool_], Points]:
    distance = np.full(len(rays), 0.02, dtype=np.float32)
    hit = np.zeros(len(rays), dtype=bool)
    active = np.arange(len(rays))
    for _ in range(steps):
        d = _nearest(solids, start[active] + rays[active] * distance[active, None])
        distance[active] += d * 0.92
        done = d < 0.0008 * (1 + distance[active] * 0.05)
        hit[active[done]] = True
        active = active[~done & (distance[active] < far)]
        if active.size == 0:
            break
    return hit, distance


def _shade_rays(origin: Points, rays: Points, solids: list[Solid], parts: Parts, camera: Camera) -> Points:
    start = np.broadcast_to(origin, rays.shape)
    hit, distance = _march(solids, start, rays, camera.far, 110)
    backdrop = (0.045 + 0.05 * np.clip(rays[:, 2:3] + 0.3, 0, 1)) * np.array([[0.95, 1.0, 1.05]])
    colour = backdrop.astype(np.float32)
    if not hit.any():
        return colour
    p = origin + rays[hit] * distance[hit, None]
    ray = rays[hit]
    which = np.argmin([s(p) for s in solids], axis=0)
    normal = _normals(solids, p)
    for index, (_, surface) in enumerate(parts):
        mine = which == index
        if surface.brushed is not None and mine.any():
            normal[mine] = _unit(normal[mine] + surface.brushed(p[mine]))
    light = _unit(np.array(camera.light, dtype=np.float32))
    towards = np.broadcast_to(light, p.shape)
    lit = _shadow(solids, p + normal * 0.01, towards)[:, None]
    open_ = _openness(solids, p, normal)[:, None]
    lambert = np.clip((normal * light).sum(1, keepdims=True), 0, 1)
    mirror = ray - 2 * (ray * normal).sum(1, keepdims=True) * normal
    half = _unit(light - ray)
    facing = np.clip((normal * half).sum(1, keepdims=True), 0, 1)
    grazing = (1 - np.clip(-(ray * normal).sum(1, keepdims=True), 0, 1)) ** 5
    out = np.zeros_like(p)
    for index, (_, surface) in enumerate(parts):
        mine = which == index
        if not mine.any():
            continue
        base = surface.colour(p[mine]) if callable(surface.colour) else np.array([surface.colour])
        ambient = (0.22 + 0.16 * np.clip(normal[mine, 2:3], 0, 1)) * open_[mine]
        diffuse = base * (1.05 * lambert[mine] * lit[mine] + ambient)
        seen = _room(mirror[mine], surface.rough) * (0.35 + 0.65 * open_[mine]) * (0.55 + 0.45 * lit[mine])
        shine = (1 - surface.rough) * facing[mine] ** (6 + 160 * (1 - surface.rough) ** 3) * lit[mine]
        metal = base * (seen * 1.05 + 0.30 * lambert[mine] * lit[mine] + 0.9 * shine)
        coat = diffuse + (0.04 + 0.3 * grazing[mine]) * seen * (1 - surface.rough) + 0.25 * shine
        out[mine] = surface.metal * metal + (1 - surface.metal) * coat
    haze = np.clip((distance[hit, None] - 34) / 50, 0, 1) ** 1.3
    colour[hit] = out * (1 - haze) + colour[hit] * haze
    return colour


def _normals(solids: list[Solid], p: Points) -> Points:
    normal = np.empty_like(p)
    for axis in range(3):
        step = np.zeros(3, dtype=np.float32)
        step[axis] = 0.0025
        normal[:, axis] = _nearest(solids, p + step) - _nearest(solids, p - step)
    return _unit(normal)


def _shadow(solids: list[Solid], p: Points, towards: Points) -> Points:
    distance = np.full(len(p), 0.03, dtype=np.float32)
    light = np.ones(len(p), dtype=np.float32)
    for _ in range(26):
        d = _nearest(solids, p + towards * distance[:, None])
        light = np.minimum(light, np.clip(0.5 + 0.5 * d / (0.07 * distance), 0, 1))
        distance += np.clip(d, 0.03, 1.2)
    return light * light * (3 - 2 * light)


def _openness(solids: list[Solid], p: Points, normal: Points) -> Points:
    shut = np.zeros(len(p), dtype=np.float32)
    for number, reach in enumerate((0.08, 0.25, 0.6, 1.2)):
        shut += np.clip(reach - _nearest(solids, p + normal * reach), 0, reach) / reach * (0.5**number)
    return np.clip(1 - 0.62 * shut, 0, 1)


def jpeg(image: Image.Image, most: int = 76_000) -> bytes:
    """The picture as a JPEG of at most so many bytes."""
    for quality in (88, 84, 80, 75, 70, 64, 58):
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=quality, optimize=True, progressive=True)
        if buffer.tell() <= most:
            break
    return buffer.getvalue()
