"""What can hardly be so: torques that do not suit their thread, parts that would not go together."""

from __future__ import annotations

from collections.abc import Iterator

from builder.engine.fasteners import check_torque
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.definitions.cam_readings import wheel_centreline
from builder.record.models.assembly import Fastener
from builder.record.models.build import Build
from builder.record.problem import Problem
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import Quantity

_DIAMETER_RANGE = (4.9e-3, 25.5e-3)
_CENTRELINE_RANGE = (60.0, 160.0)  # deg; far wider than any cam is ground
_NOT_BOLTS = ("plug", "banjo", "set screw", "grub screw", "sensor", "adaptor", "bleed")


def plausibility_problems(build: Build, sheet: FigureSheet) -> tuple[Problem, ...]:
    """Warnings, with file and line, for what was most likely written down wrongly."""
    return (*_torques(build), *_steps(build), *_degree_wheel(build), *_interference(build, sheet))


def _torques(build: Build) -> Iterator[Problem]:
    for index, joint in enumerate(build.get("assembly.fasteners") or ()):
        thread = parse_thread(joint.size) if joint.size else None
        if thread is None or not _DIAMETER_RANGE[0] <= thread.diameter <= _DIAMETER_RANGE[1]:
            continue
        if any(word in joint.joint.casefold() for word in _NOT_BOLTS):
            continue
        for path, quantity in _final_torque(index, joint):
            if quantity.si > 0 and (said := _torque_message(joint, quantity, thread.diameter)):
                yield Problem(*build.where(path), said, "warning")
                break


def _final_torque(index: int, joint: Fastener) -> Iterator[tuple[str, Quantity]]:
    path = f"assembly.fasteners.{index}"
    if joint.torque is not None and joint.torque.preferred and joint.angle is None:
        yield f"{path}.torque", joint.torque.preferred[0]


def _torque_message(joint: Fastener, torque: Quantity, diameter: float) -> str | None:
    verdict = check_torque(torque.si, diameter)
    if verdict == "plausible":
        return None
    found = f"{joint.joint}: {torque.text} on {joint.size} is {verdict.removeprefix('twelve times ')}"
    if verdict == "twelve times too low" and "in" in torque.unit:
        return f"{found}: was {torque.number} lbf.ft meant? the same number in lbf.in is a twelfth of it"
    if verdict == "twelve times too high" and "ft" in torque.unit:
        return f"{found}: was {torque.number} lbf.in meant? the same number in lbf.ft is twelve times it"
    return f"{found} for any fastener of that size: look for a slipped decimal, a wrong unit or a wrong size"


def _steps(build: Build) -> Iterator[Problem]:
    """Steps lead up to the final torque; one above it is a slip."""
    for index, joint in enumerate(build.get("assembly.fasteners") or ()):
        final = max(joint.torque.values, default=None) if joint.torque is not None else None
        if final is None or joint.angle is not None:
            continue
        for step, torque in enumerate(joint.steps):
            if torque.si > final * 1.001:
                path = f"assembly.fasteners.{index}.steps.{step}"
                message = f"{joint.joint}: a step of {torque.text} is above the final {joint.torque.preferred[0].text}"
                yield Problem(*build.where(path), f"{message}: look at the number and the unit", "warning")
                break


def _degree_wheel(build: Build) -> Iterator[Problem]:
    """Two readings of a degree wheel written the wrong way round lead half a turn off the nose."""
    for side, counted in (("intake", "after"), ("exhaust", "before")):
        for index, pair in enumerate(build.get(f"cam.degreeing.{side}") or ()):
            try:
                centre = wheel_centreline(pair, side)
            except ValueError:
                continue  # two readings at one place: the figures say so
            if _CENTRELINE_RANGE[0] <= centre <= _CENTRELINE_RANGE[1]:
                continue
            swapped = _CENTRELINE_RANGE[0] <= (centre + 180) % 360 <= _CENTRELINE_RANGE[1]
            hint = "are the two swapped?" if swapped else f"look whether both are counted {counted} TDC"
            message = (
                f"{side} opening at {pair.opening.text} and closing at {pair.closing.text}, {counted} TDC, put the "
                f"centreline at {centre:g} degrees: {hint}"
            )
            yield Problem(*build.where(f"cam.degreeing.{side}.{index}.opening"), message, "warning")


_INTERFERENCE_MEANINGS = {
    "quench": "the piston would stand above the head's face: look at deck clearance and gasket, unless the head is "
    "recessed there",
    "main_oil_clearance": "the crankshaft would not turn: look at housing bore, shell and journal",
    "rod_oil_clearance": "the rod would not go on: look at housing bore, shell and journal",
    "piston_clearance": "the piston would not go in: look at bore and piston",
    "coil_bind_clearance": "the springs would bind before full lift: look at installed height, lift and solid height",
}


def _interference(build: Build, sheet: FigureSheet) -> Iterator[Problem]:
    for slug, meaning in _INTERFERENCE_MEANINGS.items():
        figure = sheet.get(slug)
        if figure is None:
            continue
        least = figure.minimum.value if figure.minimum else figure.value
        if least < 0:
            path, line = next((known.where for known in figure.inputs if known.where), build.where("build"))
            yield Problem(path, line, f"{_worst_text(figure)}: {meaning}".replace("\N{NO-BREAK SPACE}", " "), "warning")


def _worst_text(figure: Figure) -> str:
    name = figure.title.lower()
    if figure.minimum is None:
        return f"{name} comes to {figure.display}"
    return f"{name} comes to {figure.minimum.display} ({figure.axis} {figure.minimum.label})"
