"""Check that the parts of a record agree with each other: counts, names of pulls, pictures."""

from __future__ import annotations

from collections.abc import Iterator

from builder.record.files import file_in
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel
from builder.record.problem import Problem, Severity, did_you_mean
from builder.record.quantities.readings import Reading
from builder.record.traversal import field_values
from builder.record.validation_errors import location_text

PICTURES = (".jpg", ".jpeg", ".png")
_MAX_COMPARED_PULLS = 100


def check_consistency(build: Build) -> list[Problem]:
    """Return everything in which the parts of a build's record contradict each other."""
    checks = (_wrong_counts, _cam_or_ports, _bore_gauging, _unknown_pulls, _named_pulls, _pictures)
    return [problem for check in checks for problem in check(build)]


def _problem(build: Build, path: str, message: str, severity: Severity = "error") -> Problem:
    return Problem(*build.where(path), message, severity, (path,))


def _wrong_counts(build: Build) -> Iterator[Problem]:
    counts = {"cylinder": build.cylinders}
    for side in ("intake", "exhaust"):
        valve = build.get(f"top_end.heads.{side}_valve")
        if valve is not None:
            counts[f"{side} valve"] = build.cylinders * valve.per_cylinder
    for name in DOCUMENTS:
        part = getattr(build, name)
        for item in field_values(part) if part is not None else ():
            axis = item.notes.axis or ""
            expected = counts.get(axis)
            if expected is None or not isinstance(item.value, Reading) or len(item.value.measured) in (0, 1, expected):
                continue
            yield _problem(
                build,
                ".".join(map(str, (name, *item.location, "measured"))),
                f"{location_text(item.location)}: {len(item.value.measured)} readings for {expected} {axis}"
                f"{'s' if expected != 1 else ''}: give one for each {axis}, in order, or one for all",
            )


def _cam_or_ports(build: Build) -> Iterator[Problem]:
    if _has_values(build.ports) and build.build.engine.cycle != "two-stroke":
        message = "ports.yaml is for a two-stroke: write cycle: two-stroke under engine in build.yaml, or remove it"
        yield _problem(build, "ports", message)
    if build.is_timed_by_ports and _has_values(build.get("cam.card")):
        message = (
            "a two-stroke timed by its ports has no cam card: record the ports in ports.yaml; "
            "if it has exhaust valves, record them under heads in top_end.yaml"
        )
        yield _problem(build, "cam.card", message)


def _has_values(part: RecordModel | None) -> bool:
    """Return whether anything is recorded in a part, besides headings and what it has by default."""
    items = field_values(part) if part is not None else ()
    return any(not isinstance(item.value, (RecordModel, tuple, int)) for item in items)


def _bore_gauging(build: Build) -> Iterator[Problem]:
    card = build.work.bore_gauging if build.work else None
    seen: set[int] = set()
    for index, bore in enumerate(card.cylinders if card else ()):
        path = f"work.bore_gauging.cylinders.{index}"
        if bore.cylinder > build.cylinders:
            message = f"cylinder {bore.cylinder} of an engine with {build.cylinders}: look at the number"
            yield _problem(build, f"{path}.cylinder", message)
        elif bore.cylinder in seen:
            yield _problem(
                build, f"{path}.cylinder", f"cylinder {bore.cylinder} stands on the card twice: keep one of them"
            )
        seen.add(bore.cylinder)
        if card and card.depths and len(bore.depths) != len(card.depths):
            message = f"cylinder {bore.cylinder} has {len(bore.depths)} depths, the card names {len(card.depths)}"
            yield _problem(build, f"{path}.depths", f"{message} ({', '.join(card.depths)}): give one reading for each")


def _unknown_pulls(build: Build) -> Iterator[Problem]:
    seen: list[str] = []
    for index, pull in enumerate(build.pulls):
        path = f"dyno.pulls.{index}"
        for key in ("since", "repeat_of"):
            named = getattr(pull, key)
            if named is not None and named not in seen:
                hint = did_you_mean(
                    named, seen if index < _MAX_COMPARED_PULLS else (), "name a pull that stands above this one"
                )
                yield _problem(build, f"{path}.{key}", f"{key}: no earlier pull is called {named!r}: {hint}")
        if pull.name in seen:
            yield _problem(build, f"{path}.name", f"two pulls are called {pull.name!r}: give each its own name")
        if pull.repeat_of and pull.changed:
            message = "repeat_of says that nothing was changed, but changed says what was: keep one of them"
            yield _problem(build, f"{path}.changed", message, "warning")
        seen.append(pull.name)


def _named_pulls(build: Build) -> Iterator[Problem]:
    """Yield what is wrong with the pulls that the session names as delivered and as made before the work."""
    usable = [pull.name for pull in build.pulls if pull.left_out is None and pull.file is not None]
    for name in ("delivered", "before_work"):
        named = getattr(build.dyno, name, None)
        if named is None:
            continue
        pull = next((pull for pull in build.pulls if pull.name == named), None)
        hint = did_you_mean(named, usable, "name one of the pulls, or remove the line")
        message = ""
        if pull is None:
            message = f"no pull is called {named!r}: {hint}"
        elif pull.left_out is not None:
            message = f"{named!r} is left out ({pull.left_out}): name a pull that counts, or remove the line"
        elif pull.file is None:
            message = f"{named!r} has no log: add its file, name a pull that has one, or remove the line"
        elif name == "before_work" and build.dyno is not None and named == build.dyno.delivered:
            message = f"{named!r} is also the pull as delivered: name the one made before the work, or remove the line"
        if message:
            yield _problem(build, f"dyno.{name}", f"{name}: {message}")


def _pictures(build: Build) -> Iterator[Problem]:
    for index, photo in enumerate(build.photos.photos if build.photos else ()):
        path = f"photos.photos.{index}.file"
        file, message = file_in(build.folder, photo.file)
        if file is None:
            yield _problem(build, path, message)
        elif file.suffix.lower() not in PICTURES:
            yield _problem(build, path, f"{photo.file!r} is not a JPEG or PNG picture: save it as one")
