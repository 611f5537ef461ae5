"""Find the field that the heading of a column means: its words, its unit, the position of its reading.

A heading is compared with every name of every field: its own, its title, its other names, each alone or behind the
names of the sections around it. `rod length (in)`, `Main clearance` and `Bore 3 [mm]` are understood so.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from builder.record.dyno_log.channels import without_accents
from builder.record.field_names import common_form, other_names
from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import RecordModel, notes_of
from builder.record.quantities.units import dimension_of
from builder.record.scaffold import FIRST
from builder.record.schema_shape import shape_of
from builder.record.spreadsheet.targets import FieldTarget, parse_target

CALCULATED = "calculated"
"""The last word of a heading over figures, which are calculated from the record and never read into it."""

_BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
_LIFT = re.compile(r"_(seat|[0-9]+(?:\.[0-9]+)?)_?(in|mm|thou)?(?=_|\Z)")
_DOTTED = re.compile(r"(?:[a-z]\.)+[a-z]?")
_AT_SPEED = re.compile(r"\s*(?:@|\bat\b)\s*rpm\b", re.IGNORECASE)
_BOTH = re.compile(r"\s+[x×]\s+|\s*[/&]\s*")
_SIDES = ("intake", "exhaust")
_ABBREVIATIONS = {
    "int": "intake", "exh": "exhaust", "ex": "exhaust", "cyl": "cylinder", "cyls": "cylinder",
    "dia": "diameter", "diam": "diameter", "ht": "height", "hgt": "height", "len": "length", "thk": "thickness",
    "vol": "volume", "clr": "clearance", "clear": "clearance", "no": "number", "nr": "number", "num": "number",
    "#": "number", "mfr": "maker", "mfg": "maker", "make": "maker", "brand": "maker", "manufacturer": "maker",
    "wt": "mass", "weight": "mass", "dur": "duration", "comp": "compression", "temp": "temperature", "@": "at",
    "carb": "carburetor", "sep": "separation", "inj": "injector", "cr": "compression_ratio", "mat": "material",
    "pn": "number", "p/n": "number", "adv": "advance", "baro": "barometer", "ign": "ignition", "reg": "registration",
    "brg": "bearing", "brgs": "bearing", "pist": "piston", "gskt": "gasket", "vlv": "valve", "rkr": "rocker",
}  # fmt: skip
_FILLERS = frozenset(("the", "of", "a", "avg", "average", "size"))
_KEYS = {
    "measured": "measured", "actual": "measured", "listed": "listed", "catalog": "listed", "nominal": "listed",
    "allowed": "allowed", "spec": "allowed", "repeats": "repeats",
}  # fmt: skip

# What shops call a column, beyond the names of the fields: by field.
_COLUMN_NAMES: Mapping[str, str] = {
    "title": "engine, build, description, job description, engine description, build name, name of build, project",
    "number": "job, job number, build number, job id, build id, work order, order number, ticket, ref, reference",
    "started": "in, date in, start date, start, opened, received",
    "finished": "out, date, date finished, finished on, date out, completed, date completed, completion date, "
    "finish date, done",
    "family": "engine family, engine type, model, engine model, platform",
    "purpose": "use, used in, vehicle, fitted in, application, used for, usage",
    "summary": "public notes, summary",
    "goals.text": "brief, goals, wanted, customer brief",
    "engine.cylinders": "cylinders, number cylinders, cylinder, cylinder count",
    "engine.layout": "layout, configuration, config, arrangement",
    "engine.displacement": "cid, ci, cu in, cubic inches, capacity, cc, displacement, litres, liters, disp",
    "engine.fuel.kind": "fuel, fuel type",
    "engine.fuel.octane": "octane",
    "engine.firing_order": "firing order",
    "engine.compression_noted": "cr, compression, compression ratio, static compression, static cr, ratio",
    "engine.red_line": "redline, red line, rev limit, max rpm",
    "engine.induction": "aspiration, induction type",
    "customer.name": "customer, owner, client, customer name, sold to",
    "customer.contact": "phone, telephone, email, mail, contact, tel",
    "customer.address": "address",
    "registration": "registration, plate, license plate, vehicle registration",
    "engine_serial": "serial, serial number, engine number, engine serial number, block serial",
    "price": "price, paid, invoice, total, amount, charged, total price",
    "private_notes": "private notes, notes, remarks, comments, note, remark, comment",
    "bottom_end.block.bores": "bore, bore size, finished bore",
    "bottom_end.block.oversize": "oversize, overbore",
    "bottom_end.block.casting": "block casting, block number, casting number",
    "bottom_end.crankshaft.stroke": "stroke, crank stroke",
    "bottom_end.crankshaft.number": "crank casting, crank number, crankshaft casting",
    "bottom_end.rods.length": "rod, con rod, rod length, con rod length, rod l",
    "bottom_end.pistons.compression_height": "compression height, pin height",
    "bottom_end.pistons.dish": "dish, piston dish, dish cc, piston cc, dish volume",
    "bottom_end.pistons.dome": "dome, piston dome, dome cc",
    "bottom_end.pistons.type": "piston type",
    "bottom_end.deck_clearance": "deck clearance, piston to deck, deck",
    "top_end.heads.chambers": "chamber, chamber cc, chamber volume, combustion chamber, head cc",
    "top_end.heads.casting": "head casting, head number, head casting number",
    "top_end.heads.maker": "head, heads, cylinder head, head maker",
    "top_end.heads.intake_valve.diameter": "intake valve, intake valve diameter",
    "top_end.heads.exhaust_valve.diameter": "exhaust valve, exhaust valve diameter",
    "top_end.gasket.thickness": "gasket, gasket thickness, head gasket, head gasket thickness, compressed thickness",
    "top_end.gasket.bore": "gasket bore, head gasket bore",
    "top_end.rockers.ratio": "rocker, rocker ratio, rockers",
    "top_end.springs.seat_load": "seat pressure, spring seat pressure, seat load, spring pressure",
    "top_end.induction.description": "carburetor, induction, intake, manifold, intake manifold, fuel delivery",
    "top_end.induction.rated_flow": "cfm, carburetor cfm, carburetor flow",
    "cam.card.number": "cam number, cam part number, camshaft",
    "cam.card.maker": "cam maker",
    "cam.card.grind": "cam, cam grind, grind",
    "cam.card.lobe_separation": "lsa, lobe separation, lobe separation angle",
    "cam.card.intake.valve_lift": "intake lift, intake valve lift, lift",
    "cam.card.exhaust.valve_lift": "exhaust lift, exhaust valve lift",
    "cam.card.intake.lobe_lift": "intake lobe lift, lobe lift, cam lift",
    "cam.card.exhaust.lobe_lift": "exhaust lobe lift",
    "cam.installed.intake_centerline": "installed centerline, intake centerline, centerline",
    "cam.lifters.kind": "lifter, lifter type, tappet, cam type, lifter kind",
    "assembly.fits.main_oil_clearance": "main, main bearing, main clearance, main bearing clearance",
    "assembly.fits.rod_oil_clearance": "rod bearing, rod clearance, rod bearing clearance, rod oil clearance",
    "assembly.fits.piston_clearance": "piston clearance, piston to wall, piston to wall clearance, skirt clearance",
    "assembly.fits.top_ring_gap": "top ring gap, ring gap, top gap, first ring gap",
    "assembly.fits.second_ring_gap": "second ring gap, second gap, 2nd ring gap",
    "dyno.noted_result.power": "power, peak power, hp, peak hp, horsepower, max hp, bhp, max power, kw, peak kw",
    "dyno.noted_result.power_at": "power rpm, peak power rpm, hp rpm, peak hp rpm, rpm at peak power, power at",
    "dyno.noted_result.torque": "torque, peak torque, max torque, tq, peak tq, nm",
    "dyno.noted_result.torque_at": "torque rpm, peak torque rpm, tq rpm, peak tq rpm, rpm at peak torque, torque at",
    "delivery.delivered": "delivered, date delivered, delivery date, shipped, picked up",
    "delivery.settings.total_timing": "timing, total timing, total advance, ignition timing, spark advance",
    "delivery.settings.idle_speed": "idle, idle speed, idle rpm",
    "delivery.settings.jets": "jets, jetting, main jets",
    "delivery.settings.plug": "plug, plugs, spark plug",
    "delivery.settings.plug_gap": "plug gap, spark plug gap, gap",
    "delivery.fluids[engine oil].grade": "oil, engine oil, oil grade",
    "assembly.fasteners[head bolts].torque": "head bolt torque, head torque, head bolts",
    "assembly.fasteners[main bolts].torque": "main bolt torque, main torque, main cap torque, main bolts",
    "assembly.fasteners[rod bolts].torque": "rod bolt torque, rod torque, rod bolts",
}
_IMPLIED_UNITS = {"cid": "cu in", "ci": "cu in", "cu_in": "cu in", "cubic_inche": "cu in", "cc": "cc", "cfm": "cfm",
                  "litre": "L", "liter": "L", "hp": "hp", "peak_hp": "hp", "max_hp": "hp", "bhp": "hp",
                  "horsepower": "hp", "kw": "kW", "peak_kw": "kW", "nm": "N m"}  # fmt: skip


_Rank = tuple[int, int]


@dataclass(frozen=True, slots=True)
class ColumnHeading:
    """What a heading means: the field, two where it has both sides, or none with a remark on why; and its unit."""

    targets: tuple[FieldTarget, ...] = ()
    unit: str = ""
    remark: str = ""

    @property
    def target(self) -> FieldTarget | None:
        """The field, where it is one."""
        return self.targets[0] if len(self.targets) == 1 else None


def read_heading(text: str) -> ColumnHeading:
    """Return what the heading of a column means; cells of `HP @ rpm` hold both, as those of `HP` may."""
    text = _AT_SPEED.sub("", text)
    full = _plain(_without_brackets(text))
    if full.rpartition("_")[2] == CALCULATED:
        return ColumnHeading(remark="calculated from the record, not read")
    words, unit = _split(text)
    plain = _plain(words)
    sides = set(_SIDES) & set(full.split("_"))
    if len(sides) == 2:
        both = [_read("_".join(word for word in plain.split("_") if word != other), words) for other in _SIDES[::-1]]
        if all(heading.target for heading in both):
            targets = tuple(target for heading in both for target in heading.targets)
            return ColumnHeading(targets, unit if unit and not targets[0].unit_problem(unit) else both[0].unit)
    if duration := _duration(full):
        return ColumnHeading(duration.targets, "" if dimension_of(unit) == "length" else unit, duration.remark)
    heading = _read(plain, words)
    halves = [_read(_plain(half), half) for half in _BOTH.split(words)]
    if not heading.targets and len(halves) == 2 and all(half.target and half.target.takes_unit for half in halves):
        return ColumnHeading(tuple(target for half in halves for target in half.targets), unit or halves[0].unit)
    return ColumnHeading(heading.targets, unit or heading.unit if heading.targets else "", heading.remark)


def _read(plain: str, words: str) -> ColumnHeading:
    """Return what a name means, without the unit that the heading gives."""
    if duration := _duration(plain):
        return duration
    name, key, position = _singular(plain), "", 0
    path = _lookup(name)
    if path is None:
        name, key, position = _with_parts(plain)
        path = _lookup(name)
    if path is None:
        return ColumnHeading(remark=_similar(name))
    target = parse_target(f"{path}{f'.{key}' if key else ''}{f'[{position}]' if position else ''}")
    if isinstance(target, str):
        return ColumnHeading(remark=target)
    return ColumnHeading((target,), _IMPLIED_UNITS.get(name, "") or _unit_in_name(words, target))


def _duration(plain: str) -> ColumnHeading | None:
    """Return the duration of one side at a lift, where a name means one."""
    words = plain.split("_")
    sides = [side for side in _SIDES if side in words]
    match = _LIFT.search(plain)
    if "duration" not in words or match is None:
        return None
    unit = match[2] or ("mm" if match[1] in ("1", "1.0") else "in")
    lift = match[1] if match[1] == "seat" else f"{match[1]} {unit}"
    paths = [f"cam.card.{side}.durations[{lift}].duration" for side in sides or _SIDES]
    if len(paths) != 1:
        both = ", ".join(f'"{path}"' for path in paths)
        return ColumnHeading(remark=f"of both sides? write {{into: [{both}], unit: deg}}")
    target = parse_target(paths[0])
    return ColumnHeading((target,)) if isinstance(target, FieldTarget) else ColumnHeading(remark=target)


def _unit_in_name(words: str, target: FieldTarget) -> str:
    """Return the unit that is the last word of a name, as in `chamber cc`."""
    *_, last = words.split()
    return last if target.takes_unit and not target.unit_problem(last) else ""


def _without_brackets(text: str) -> str:
    return _BRACKETS.sub(lambda match: f" {match[1]} ", " ".join(without_accents(text).split()))


def _split(text: str) -> tuple[str, str]:
    """Return a heading without its unit, and the unit: `bore (in)`, `bore [mm]`, `bore, in`, `Idle rpm`, `bore_mm`."""
    words = " ".join(without_accents(text).split())
    for match in _BRACKETS.finditer(words):
        if dimension_of(match[1].strip()):
            return f"{words[: match.start()]} {words[match.end() :]}".strip(), match[1].strip()
    front, comma, last = words.rpartition(",")
    if comma and dimension_of(last.strip()):
        return front.strip(), last.strip()
    without = _without_brackets(words)
    if _lookup(_with_parts(_plain(without))[0]) is None:
        match_last = re.fullmatch(r"(.+?)[\s_/]+(\S+|cu in|sq in|cu\. in\.)", without.strip())
        if match_last and dimension_of(match_last[2]):
            return match_last[1], match_last[2]
    return without.strip(), ""


def _plain(words: str) -> str:
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", words).replace("@", " @ ").replace("#", " # ")
    text = re.sub(r"(?<![0-9])\.(?=[0-9])", "0.", text)
    tokens = [
        token.replace(".", "") if _DOTTED.fullmatch(token) else token.strip(".,:;?!'\"")
        for token in re.split(r"[\s_/-]+", text.lower())
    ]
    full = (_ABBREVIATIONS.get(token, token) for token in tokens if token)
    return _without_fillers(common_form(" ".join(full)))


def _without_fillers(name: str) -> str:
    return "_".join(word for word in name.split("_") if word not in _FILLERS)


def _singular(name: str) -> str:
    return "_".join(word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word
                    for word in name.split("_"))  # fmt: skip


def _with_parts(plain: str) -> tuple[str, str, int]:
    """Return the name in a heading, which part of the reading it means, and the position."""
    words = plain.split("_")
    position = 0
    if len(words) > 1 and words[-1].isdecimal() and 1 <= int(words[-1]) <= 24:
        position = int(words.pop())
        if len(words) > 1 and words[-1] in ("cylinder", "number"):
            words.pop()
    for limit in ("at_least", "at_most"):
        if len(words) > 2 and "_".join(words[-2:]) == limit:
            return _singular("_".join(words[:-2])), limit, 0
    keys = [_KEYS[word] for word in words if word in _KEYS]
    rest = [word for word in words if word not in _KEYS]
    if len(keys) == 1 and rest:
        return _singular("_".join(rest)), keys[0], position
    return _singular("_".join(words)), "", position


def _lookup(name: str) -> str | None:
    """Return the path of the one field that a name means; None where none or several do."""
    if not name:
        return None
    candidates = _names().get(name) or _names_by_words().get(_in_any_order(name), {})
    best = min(candidates.values(), default=None)
    paths = [path for path, rank in candidates.items() if rank == best]
    return paths[0] if len(paths) == 1 else None


def _in_any_order(name: str) -> str:
    return "_".join(sorted(name.split("_")))


@cache
def _names_by_words() -> Mapping[str, Mapping[str, _Rank]]:
    """Return the fields by the words of every name in alphabetical order, for headings that turn them round."""
    names: dict[str, dict[str, _Rank]] = defaultdict(dict)
    for name, candidates in _names().items():
        for path, rank in candidates.items():
            words = _in_any_order(name)
            names[words][path] = min(rank, names[words].get(path, rank))
    return names


def _similar(name: str) -> str:
    """Return the fields that a name may mean where it means several."""
    candidates = _names().get(name, {})
    return f"which one: {' or '.join(sorted(candidates)[:3])}?" if candidates else ""


@cache
def _names() -> Mapping[str, Mapping[str, _Rank]]:
    """Return the fields by every name that a heading may have for them, each with its rank: the least counts."""
    names: dict[str, dict[str, _Rank]] = defaultdict(dict)
    for document, model in DOCUMENTS.items():
        if document in ("photos", "dyno", "plan"):
            continue
        first = {path.strip() for path in FIRST.get(document, "").split(",")}
        for path, parts in _leaves(model, ()):
            full = path if document == "build" else f"{document}.{path}"
            rank = (1 if path in first else 2, path.count("."))
            for name in _combinations(((_singular(document),), *parts)):
                names[_without_fillers(name)].setdefault(full, rank)
    for path, others in _COLUMN_NAMES.items():
        for other in others.split(","):
            names[_singular(_plain(other.strip()))][path] = (0, 0)
    return names


def _leaves(
    model: type[RecordModel], above: tuple[tuple[str, ...], ...], prefix: str = ""
) -> Iterator[tuple[str, tuple[tuple[str, ...], ...]]]:
    """Yield the path of every field that one value is written in, and the names of each step to it."""
    for name, info in model.model_fields.items():
        shape = shape_of(info)
        steps = (
            *above,
            tuple(_singular(common_form(each)) for each in (name, *other_names(name, notes_of(info).also))),
        )
        if shape.kind == "section" and shape.model is not None:
            yield from _leaves(shape.model, steps, f"{prefix}{name}.")
        elif shape.kind not in ("entries", "map"):
            yield f"{prefix}{name}", steps


def _combinations(parts: tuple[tuple[str, ...], ...]) -> Iterator[str]:
    """Yield the names of a field: its own, alone and behind the names of one or more of the steps that lead to it."""
    *sections, own = parts
    prefixes = [""]
    for names in sections:
        prefixes += [f"{prefix}{name}_" for prefix in prefixes for name in names]
    for prefix in prefixes:
        for name in own:
            yield f"{prefix}{name}"
            if prefix and prefix.rstrip("_").rpartition("_")[2] == name.partition("_")[0]:
                yield f"{prefix}{name.partition('_')[2]}"
