"""Assign columns to channels and units, by the header's words, the units row and the record's own mapping."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from builder.record.dyno_log.channels import CHANNELS, DIMENSIONS, EXAMPLES, REQUIRED, factor, is_standard_flow, is_unit
from builder.record.dyno_log.header import CorrectionKind, Header, columns_named, heading
from builder.record.problem import Problem, did_you_mean
from builder.record.quantities.unit_table import printed_unit


@dataclass(frozen=True, slots=True)
class Column:
    """One channel's column: its place, its header, and how its numbers become SI."""

    slug: str
    index: int
    header: str
    unit: str
    scale: float
    offset: float
    kind: CorrectionKind = ""

    @property
    def required(self) -> bool:
        """Whether a bad number here makes the log unusable."""
        return self.slug in REQUIRED


@dataclass
class Columns:
    """The columns that were recognized, with problems and notes."""

    columns: list[Column] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class _Report(Protocol):
    """Adds a problem: its message, its line (the header's unless given), and whether it is only a warning."""

    def __call__(self, message: str, line: int = ..., warning: bool = ...) -> None: ...


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A column that may be a channel; `unit` is None where none is given, `unit_ok` says if it suits the channel."""

    slug: str
    index: int
    header: str
    unit: str | None
    unit_ok: bool
    kind: CorrectionKind
    mapped: bool = False


def resolve_columns(header: Header, mapped: Mapping[str, str], stated: Mapping[str, str], path: Path) -> Columns:
    """Assign every column that can be assigned, with a problem for each that cannot.

    `mapped` is header text by channel, `stated` unit by channel, both from the record.
    """
    result = Columns()

    def problem(message: str, line: int = header.line, warning: bool = False) -> None:
        result.problems.append(Problem(path, line, message, "warning" if warning else "error"))

    for slug in dict.fromkeys((*mapped, *stated)):
        if slug in CHANNELS:
            continue
        near = difflib.get_close_matches(slug, CHANNELS, 1)
        problem(f"the record names a channel {slug!r}, which there is not"
                + (f"; did you mean {near[0]}?" if near else ""))  # fmt: skip
    candidates = _mapped_candidates(header, mapped, stated, problem)
    taken = {candidate.index for candidate in candidates}
    for index, cell in enumerate(header.cells):
        named = heading(cell)
        if index not in taken and named.slugs and not set(named.slugs) & set(mapped):
            candidate = _candidate(header, index, named.slugs, stated, mapped=False)
            if not (named.needs_unit and not candidate.unit_ok):
                candidates.append(candidate)
    candidates = _single_lambda(candidates)
    sources: list[str] = []
    for slug in CHANNELS:
        chosen = _only_candidate([c for c in candidates if c.slug == slug], header, problem)
        if chosen is None:
            continue
        unit = chosen.unit if chosen.unit is not None else CHANNELS[slug].assumed
        scale_offset = None if unit is None or not chosen.unit_ok else factor(unit, CHANNELS[slug].dimension)
        if unit is None or scale_offset is None:
            problem(*_unit_trouble(chosen, header), warning=slug not in REQUIRED)
            continue
        if _header_contradicts(header, chosen, stated):
            problem(
                f"{chosen.header!r} gives one unit for {slug} and the units row another "
                f"({header.unit(chosen.index)!r}); write in the record, under units, which is right",
                header.units_line, slug not in REQUIRED,
            )  # fmt: skip
            continue
        result.columns.append(Column(slug, chosen.index, chosen.header, unit, *scale_offset, chosen.kind))
        plain = not chosen.mapped and chosen.unit is not None
        (sources if plain else result.notes).append(_source(chosen, unit))
        if is_standard_flow(unit):
            result.notes.append(f"{CHANNELS[slug].title} is in {unit}, at the meter's standard conditions")
    if sources:
        result.notes.insert(0, "; ".join(sources))
    for slug in stated:
        if slug in CHANNELS and not any(c.slug == slug for c in candidates):
            result.notes.append(f"the record gives a unit for {slug}, which the log does not have")
    _check_complete(result, header, problem)
    _check_kinds(result, problem, set(mapped))
    used = {column.index for column in result.columns}
    ignored = [cell or f"column {i + 1}" for i, cell in enumerate(header.cells) if i not in used]
    if ignored:
        result.notes.append("columns not used: " + ", ".join(repr(cell[:60]) for cell in ignored[:30])
                            + (f" and {len(ignored) - 30} more" if len(ignored) > 30 else ""))  # fmt: skip
    return result


def _mapped_candidates(
    header: Header, mapped: Mapping[str, str], stated: Mapping[str, str], problem: _Report
) -> list[_Candidate]:
    candidates: list[_Candidate] = []
    for slug, text in mapped.items():
        places = columns_named(text, header.cells)
        if slug not in CHANNELS:
            continue
        if not places:
            hint = did_you_mean(text, header.cells, cutoff=0.5)
            problem(f"the record takes {slug} from a column headed {text!r}, but there is none"
                    + (f"; {hint}" if hint else f": {_listed(header.cells)}"))  # fmt: skip
        elif len(places) > 1:
            numbers = " and ".join(f"column {place + 1}" for place in places)
            problem(f"the record takes {slug} from {text!r}, and more than one column is headed so; "
                    f"write one of {numbers} instead of the header")  # fmt: skip
        else:
            slugs = tuple(s for s in _siblings(slug) if s == slug or s not in mapped)
            candidates.append(_candidate(header, places[0], slugs, stated, mapped=True))
    return candidates


def _single_lambda(candidates: list[_Candidate]) -> list[_Candidate]:
    """Return the candidates, with a numbered lambda ("Lambda 1") as the engine's where no other lambda was logged."""
    measured = [candidate for candidate in candidates if CHANNELS[candidate.slug].dimension == "lambda"]
    if len(measured) != 1 or measured[0].mapped:
        return candidates
    return [replace(c, slug="lambda") if c is measured[0] else c for c in candidates]


def _siblings(slug: str) -> tuple[str, ...]:
    """Return the channel, then those that differ from it by their unit alone (flow by mass, flow by volume)."""
    words = CHANNELS[slug].words
    return (slug, *(s for s, c in CHANNELS.items() if s != slug and words and c.words == words))


def _candidate(header: Header, index: int, slugs: Sequence[str], stated: Mapping[str, str], mapped: bool) -> _Candidate:
    cell = header.cells[index]
    named = heading(cell)
    by_record = next((stated[slug] for slug in slugs if slug in stated), None)
    by_log = [unit for unit in (named.unit if named.slugs else _last_brackets(cell), header.unit(index)) if unit]
    units = [by_record] if by_record is not None else by_log
    for unit in units:
        for slug in slugs:
            if is_unit(unit, CHANNELS[slug].dimension):
                return _Candidate(slug, index, cell, unit, True, named.kind, mapped)
    unit_or_none = units[0] if units else None
    unit_ok = unit_or_none is None and CHANNELS[slugs[0]].assumed is not None
    return _Candidate(slugs[0], index, cell, unit_or_none, unit_ok, named.kind, mapped)


def _last_brackets(cell: str) -> str | None:
    """Return the unit in brackets or after the last comma of a header in the shop's own words."""
    for opening, closing in ("()", "[]", "{}"):
        if cell.endswith(closing) and opening in cell:
            return cell[cell.rindex(opening) + 1 : -1].strip() or None
    return cell.rsplit(",", 1)[1].strip() or None if "," in cell else None


def _only_candidate(candidates: list[_Candidate], header: Header, problem: _Report) -> _Candidate | None:
    """Return the one column for a channel. Two that would do are a problem that names both."""
    fitting = [c for c in candidates if c.unit_ok or c.unit is None] or candidates
    if len(fitting) > 1:
        slug = fitting[0].slug
        names = " and ".join(f"{c.header!r} (column {c.index + 1})" for c in fitting)
        problem(
            f"{len(fitting)} columns look like {slug}: {names}; "
            f"say in the record which one it is, e.g. columns: {{{slug}: {fitting[0].header!r}}}"
            + ("" if slug in REQUIRED else "; the channel is left out"),
            header.line, slug not in REQUIRED,
        )  # fmt: skip
        return None
    return fitting[0] if fitting else None


def _unit_trouble(candidate: _Candidate, header: Header) -> tuple[str, int]:
    channel = CHANNELS[candidate.slug]
    left_out = "" if candidate.slug in REQUIRED else "; the channel is left out"
    fix = f"say it in the record, e.g. units: {{{candidate.slug}: {EXAMPLES[channel.dimension].split(',')[0]}}}"
    if candidate.unit is None:
        return f"column {candidate.header!r} has no unit, and none is guessed: {fix}{left_out}", header.line
    line = header.units_line if candidate.unit == header.unit(candidate.index) else header.line
    known = ", ".join(EXAMPLES[CHANNELS[slug].dimension] for slug in _siblings(candidate.slug))
    return (
        f"{candidate.unit!r} of column {candidate.header!r} is not a unit known for {candidate.slug} "
        f"(known are {known}): {fix}{left_out}",
        line or header.line,
    )


def _header_contradicts(header: Header, chosen: _Candidate, stated: Mapping[str, str]) -> bool:
    """Return whether header cell and units row give two known and different units, and the record gives none."""
    dimension = CHANNELS[chosen.slug].dimension
    row = header.unit(chosen.index)
    if chosen.slug in stated or row is None or chosen.unit is None:
        return False
    if not is_unit(row, dimension):
        return any(is_unit(row, known) for known in DIMENSIONS)
    return factor(row, dimension) != factor(chosen.unit, dimension)


def _source(candidate: _Candidate, unit: str) -> str:
    text = f"{CHANNELS[candidate.slug].title}: {candidate.header!r} (column {candidate.index + 1})"
    if candidate.mapped:
        text += ", set in the record"
    shown = printed_unit(unit)
    return f"{text}, {shown}" if candidate.unit is not None else f"{text}, no unit given, taken as {shown}"


def _check_complete(columns: Columns, header: Header, problem: _Report) -> None:
    """Report a missing engine speed, or both torque and power, unless a problem already says why they are missing."""
    if any(p.severity == "error" for p in columns.problems):
        return
    slugs = {column.slug for column in columns.columns}
    if "engine_speed" not in slugs or not slugs & {"torque", "power"}:
        missing = "engine speed" if "engine_speed" not in slugs else "torque or power"
        problem(f"there is no column of {missing}: {_listed(header.cells)}; "
                "say in the record which column it is, under columns")  # fmt: skip


def _check_kinds(columns: Columns, problem: _Report, mapped: set[str]) -> None:
    """Report torque as observed with power as corrected, or the other way: they would be corrected twice or half."""
    kinds = {c.slug: c for c in columns.columns if c.slug in ("torque", "power")}
    if len({c.kind == "corrected" for c in kinds.values()}) < 2:
        return
    torque, power = kinds["torque"], kinds["power"]
    settled = {"torque", "power"} <= mapped or "" in (torque.kind, power.kind)
    problem(f"torque is from {torque.header!r} and power from {power.header!r}: one of them looks corrected "
            "and the other not; map both in the record, under columns", warning=settled)  # fmt: skip


def _listed(cells: Iterable[str]) -> str:
    names = [cell[:40] for cell in cells if cell]
    return "the columns are " + ", ".join(names[:12]) + (" ..." if len(names) > 12 else "")
