"""What is hardly possible: torques that do not suit their thread, parts that would not go together."""

from __future__ import annotations

from collections.abc import Iterator

from builder.engine.fasteners import TorqueCheck, check_torque
from builder.figures.core.types import Figure, FigureSheet
from builder.record.models.assembly import Fastener
from builder.record.models.build import Build
from builder.record.problem import Problem
from builder.record.quantities.digits import is_above, is_below
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import Quantity
from builder.record.wording import in_sentence, plain_spaces

_DIAMETER_RANGE = (4.9e-3, 25.5e-3)  # m
_NOT_BOLTS = ("plug", "banjo", "set screw", "grub screw", "sensor", "adaptor", "bleed")


def plausibility_problems(build: Build, sheet: FigureSheet) -> tuple[Problem, ...]:
    """Return a warning, with file and line, for what was most likely written down wrongly."""
    return (*_torques(build), *_steps(build), *_interference(build, sheet))


def _torques(build: Build) -> Iterator[Problem]:
    for index, joint in enumerate(build.get("assembly.fasteners") or ()):
        thread = parse_thread(joint.size) if joint.size else None
        if thread is None or not _DIAMETER_RANGE[0] <= thread.diameter <= _DIAMETER_RANGE[1]:
            continue
        if any(word in joint.joint.casefold() for word in _NOT_BOLTS):
            continue
        torque = _final_torque(joint)
        if torque is None or torque.si <= 0:
            continue
        check = check_torque(torque.si, thread.diameter)
        if check.verdict != "plausible":
            message = _torque_message(joint, torque, check)
            path = f"assembly.fasteners.{index}.torque"
            yield Problem(*build.where(path), message, "warning", (path, f"assembly.fasteners.{index}.size"))


def _final_torque(joint: Fastener) -> Quantity | None:
    """Return the torque a joint ends with; None where an angle follows it."""
    if joint.torque is None or not joint.torque.preferred or joint.angle is not None:
        return None
    return joint.torque.preferred[0]


def _torque_message(joint: Fastener, torque: Quantity, check: TorqueCheck) -> str:
    message = f"{joint.joint}: {torque.text} on {joint.size} is {check.verdict}"
    if check.inch_foot_mix_up and check.verdict == "too low" and "in" in torque.unit:
        return f"{message}: was {torque.number} lbf.ft meant? the same number in lbf.in is a twelfth of it"
    if check.inch_foot_mix_up and check.verdict == "too high" and "ft" in torque.unit:
        return f"{message}: was {torque.number} lbf.in meant? the same number in lbf.ft is twelve times it"
    return f"{message} for any fastener of that size: look for a slipped decimal, a wrong unit or a wrong size"


def _steps(build: Build) -> Iterator[Problem]:
    """Yield the tightening steps that are above the final torque, which they must lead up to."""
    for index, joint in enumerate(build.get("assembly.fasteners") or ()):
        final = max(joint.torque.values, default=None) if joint.torque is not None else None
        if final is None or joint.angle is not None:
            continue
        for number, step in enumerate(joint.steps):
            if is_above(step.si, final, step.step):
                message = (
                    f"{joint.joint}: a step of {step.text} is above the final {joint.torque.preferred[0].text}: "
                    "look at the number and the unit"
                )
                path = f"assembly.fasteners.{index}.steps.{number}"
                yield Problem(*build.where(path), message, "warning", (path, f"assembly.fasteners.{index}.torque"))
                break


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
        lowest = figure.minimum or figure
        if is_below(lowest.shown, 0.0, lowest.step):
            message = plain_spaces(f"{_worst_text(figure)}: {meaning}")
            yield Problem(*(figure.where or build.where("build")), message, "warning")


def _worst_text(figure: Figure) -> str:
    name = in_sentence(figure.title)
    if figure.minimum is None:
        return f"{name} is {figure.display}"
    return f"{name} is {figure.minimum.display} ({figure.axis} {figure.minimum.label})"
