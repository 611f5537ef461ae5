"""Find the header among a file's first lines, and the channel and unit that each of its cells names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Literal

from builder.record.dyno_log.channels import CHANNELS, CYLINDERS, DIMENSIONS, REQUIRED, is_unit, without_accents
from builder.record.dyno_log.encoding import CLOCK, DELIMITERS, Line, is_number, split_cells

MAX_COLUMNS = 500
SEARCHED_LINES = 400
_SAMPLED_ROWS = 20
_SEARCHED_FOR_HINT = 40

CorrectionKind = Literal["observed", "corrected", ""]

_CORRECTED = frozenset([
    "corrected", "corr", "cor", "std", "sae", "stp", "din", "iso", "ece", "jis", "j1349", "j607",
    "1585", "70020", "stdcor", "korrigiert", "korr", "corrige", "corrigee", "corregido", "corregida", "corretto",
    "corretta", "norm",
])  # fmt: skip
_OBSERVED = frozenset([
    "observed", "obs", "uncorrected", "uncorr", "raw", "actual", "act", "measured", "meas",
    "unkorrigiert", "gemessen", "mesure", "mesuree", "brut", "brute", "medido", "medida", "misurato", "misurata",
])  # fmt: skip
_NEUTRAL = frozenset([
    "smoothed", "smooth", "avg", "average", "mean", "filtered", "filt", "the", "of", "in", "at",
    "gemittelt", "geglattet", "mittelwert", "moyen", "moyenne", "media", "medio", "der", "de", "du", "des", "del",
    "di", "della", "dell", "la", "le",
])  # fmt: skip
_NOT_CORRECTED = re.compile(r"\b(?:not|nicht|non?) (?:corrected|korrigiert|corrigee?|corregid[oa]|corrett[oa])\b")
_LETTER = re.compile(r"[^\W\d_]")
_WORD = re.compile(r"[^\W_]+")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_BRACKETS = re.compile(r"[(\[{<]([^()\[\]{}<>]*)[)\]}>]")
_SEPARATOR = re.compile(r"[\s,/:_\-–]+|\s+in\s+")
_CYLINDER = re.compile(
    r"(?:(?:cyl|cylinder|port|no|number|runner|zyl|zylinder|cylindre|cil|cilindro)\s*)*0*([1-9][0-9]?)"
)


@dataclass(frozen=True, slots=True)
class Heading:
    """A header cell: the channels it may mean (they differ in dimension), its unit, and its kind."""

    slugs: tuple[str, ...] = ()
    unit: str | None = None
    kind: CorrectionKind = ""
    needs_unit: bool = False
    """A one-letter symbol means the channel only together with a fitting unit."""


def normal_words(text: str) -> str:
    """Return the words in lower case, with one space between them, without punctuation and accents.

    "Not corrected", in any language that headers are read in, becomes the one word "uncorrected".
    """
    return _NOT_CORRECTED.sub("uncorrected", " ".join(_WORD.findall(without_accents(text.casefold()))))


@cache
def _words() -> Mapping[str, tuple[str, ...]]:
    words: dict[str, tuple[str, ...]] = {}
    for channel in CHANNELS.values():
        for word in channel.words:
            words[word] = (*words.get(word, ()), channel.slug)
    return words


@lru_cache(maxsize=4096)
def heading(text: str) -> Heading:
    """Read one header cell: "Torque (lb-ft)", "Power [kW]", "Speed, rpm", "EGT 3 °F", "CorrectedTorque_Nm"."""
    text = " ".join(text.split())
    if not text or len(text) > 80 or is_number(text):
        return Heading()
    for variant in dict.fromkeys((text, _CAMEL.sub(" ", text))):
        first, second = (_bracketed, _suffixed) if _BRACKETS.search(variant) else (_suffixed, _bracketed)
        result = first(variant) or second(variant) or _bare_unit(variant) or _misfit(variant)
        if result and result.unit and result.unit not in text and result.unit.replace(" ", "") in text:
            return replace(result, unit=result.unit.replace(" ", ""))  # as written, before words were separated
        if result:
            return result
    return Heading()


def _named(words: str) -> tuple[tuple[str, ...], CorrectionKind]:
    """Return the channels that words mean, once words such as "corrected" are removed, and the kind those give."""
    if words in _words():
        return _words()[words], ""
    tokens = words.split()
    kind: CorrectionKind = ""
    if any(token in _CORRECTED for token in tokens):
        kind = "corrected"
    elif any(token in _OBSERVED for token in tokens):
        kind = "observed"
    base = " ".join(token for token in tokens if token not in _CORRECTED | _OBSERVED | _NEUTRAL)
    if base in _words():
        return _words()[base], kind
    return _numbered(base), kind


def _numbered(words: str) -> tuple[str, ...]:
    """Return the channel of a numbered name: a cylinder's EGT ("egt 3", "cyl 3 egt") or lambda; AFR 1."""
    joined = re.sub(r"(?<=[a-z])(?=[0-9])|(?<=[0-9])(?=[a-z])", " ", words)
    for base in ("afr", *CHANNELS["lambda"].words, *CHANNELS["exhaust_temperature"].words):
        for rest in (joined.removeprefix(base), joined.removesuffix(base)):
            match = _CYLINDER.fullmatch(rest.strip()) if rest != joined else None
            if match and base == "afr":
                return (base,)
            if match and int(match[1]) <= CYLINDERS:
                slug = "lambda" if base in CHANNELS["lambda"].words else "exhaust_temperature"
                return (f"{slug}_{int(match[1])}",)
    return ()


def _fits(slugs: Sequence[str], unit: str) -> tuple[str, ...]:
    return tuple(slug for slug in slugs if is_unit(unit, CHANNELS[slug].dimension))


def _implied(words: str, slugs: tuple[str, ...]) -> str | None:
    """Return the unit that the words themselves name."""
    tokens = words.split()
    if slugs == ("engine_speed",) and "rpm" in tokens:
        return "rpm"
    if slugs == ("power",) and ("horsepower" in tokens):
        return "hp"
    return (
        tokens[0]
        if slugs and CHANNELS[slugs[0]].dimension in ("lambda", "afr") and tokens[0] in ("lambda", "afr")
        else None
    )


def _bracketed(text: str) -> Heading | None:
    groups = [group.strip() for group in _BRACKETS.findall(text)]
    base = normal_words(_BRACKETS.sub(" ", text))
    slugs, kind = _named(base)
    if not slugs:
        # "Torque (corrected)", "EGT (cyl 3)": the brackets may hold words instead of a unit.
        for index, group in enumerate(groups):
            slugs, kind = _named(normal_words(f"{base} {group}"))
            if slugs:
                del groups[index]
                break
        else:
            return None
    unit: str | None = None
    for group in groups:
        fitting = _fits(slugs, group)
        if fitting:
            slugs, unit = fitting, group
        elif set(normal_words(group).split()) & _CORRECTED:
            kind = "corrected"
        elif set(normal_words(group).split()) & _OBSERVED:
            kind = "observed"
        elif match := _CYLINDER.fullmatch(normal_words(group)):
            if slugs in (("exhaust_temperature",), ("lambda",)) and int(match[1]) <= CYLINDERS:
                slugs = (f"{slugs[0]}_{int(match[1])}",)
        elif group and unit is None:
            unit = group  # not a unit of this channel: reported when the column is resolved
    return Heading(slugs, unit or _implied(base, slugs), kind, len(base) == 1)


def _suffixed(text: str) -> Heading | None:
    for separator in _SEPARATOR.finditer(text):
        base, unit = normal_words(text[: separator.start()]), text[separator.end() :]
        slugs, kind = _named(base)
        fitting = _fits(slugs, unit)
        if fitting and normal_words(unit) not in ("1", "ratio"):  # "Lambda 1", "A/F ratio"
            return Heading(fitting, unit, kind, len(base) == 1)
    return None


def _misfit(text: str) -> Heading | None:
    """Read a channel with the unit of another ("Torque, hp"), so that it is reported and not ignored."""
    for separator in _SEPARATOR.finditer(text):
        slugs, kind = _named(normal_words(text[: separator.start()]))
        unit = text[separator.end() :]
        if slugs and separator.start() > 1 and _is_any_unit(unit):
            return Heading(slugs, unit, kind)
    return None


def _is_any_unit(text: str) -> bool:
    return any(is_unit(text, dimension) for dimension in DIMENSIONS)


def _bare_unit(text: str) -> Heading | None:
    """Read a cell that is a unit alone: "rpm", "lb-ft", "kW", "Corrected hp"."""
    tokens = text.split(" ")
    words = [normal_words(token) for token in tokens]
    unit = " ".join(t for t, word in zip(tokens, words, strict=True) if word not in _CORRECTED | _OBSERVED)
    kind: CorrectionKind = "corrected" if set(words) & _CORRECTED else "observed" if set(words) & _OBSERVED else ""
    for slug in ("engine_speed", "torque", "power"):
        # A bare "w", "hz" or "1/s" is too little to go by.
        if len(unit) > 1 and normal_words(unit) not in ("hz", "1 s") and is_unit(unit, CHANNELS[slug].dimension):
            return Heading((slug,), unit, kind)
    return None


@dataclass(frozen=True, slots=True)
class Header:
    """A log's header: its line, its cells, the units row if there is one, the first data line."""

    delimiter: str
    line: int
    cells: tuple[str, ...]
    units: tuple[str, ...]
    units_line: int
    data_start: int
    data_line: int
    declared: bool = False
    """Whether the file's first line declares the delimiter."""

    def unit(self, index: int) -> str | None:
        """Return the text in the units row under a column, None if there is none."""
        text = self.units[index].strip(" ()[]{}") if index < len(self.units) else ""
        return None if text in ("", "-", "--") else text


def is_header(cells: Sequence[str], mapped: Mapping[str, str] | None = None) -> bool:
    """Return whether the cells name an engine speed and a torque or power, by their words or the record's mapping."""
    if not 2 <= len(cells) <= MAX_COLUMNS:
        return False
    slugs = {slug for slug, text in (mapped or {}).items() if columns_named(text, cells)}
    slugs.update(slug for cell in cells if cell for slug in heading(cell).slugs)
    return "engine_speed" in slugs and bool(slugs & {"torque", "power"})


def incomplete_header(lines: Sequence[Line]) -> tuple[Line, str, tuple[str, ...]] | None:
    """Return the first line that names a speed without a torque or power, or the reverse.

    With it the missing channel and the cells that no channel is known for.
    """
    for line in lines[:_SEARCHED_FOR_HINT]:
        for cells in (split_cells(line.text, delimiter) for delimiter in DELIMITERS if delimiter in line.text):
            named = {slug for cell in cells for slug in heading(cell).slugs}
            unknown = tuple(cell for cell in cells if cell.strip() and not is_number(cell) and not heading(cell).slugs)
            if len(cells) <= MAX_COLUMNS and unknown and ("engine_speed" in named) != bool(named & {"torque", "power"}):
                return line, "torque" if "engine_speed" in named else "engine_speed", unknown
    return None


def columns_named(text: str, cells: Sequence[str]) -> list[int]:
    """Return the columns that the record means by `text`: a header, a header without its unit, or "column 3"."""
    requested = " ".join(text.casefold().split())
    exact = [i for i, cell in enumerate(cells) if " ".join(cell.casefold().split()) == requested]
    if exact:
        return exact
    words = normal_words(text)
    bare = [i for i, cell in enumerate(cells) if words and words == normal_words(_BRACKETS.sub(" ", cell))]
    if bare:
        return bare
    place = re.fullmatch(r"column ([1-9][0-9]{0,2})", requested)
    return [int(place[1]) - 1] if place and int(place[1]) <= len(cells) else []


def find_header(lines: Sequence[Line], mapped: Mapping[str, str]) -> Header | None:
    """Return the header among a file's first lines, with the delimiter that gives the most complete rows."""
    declared = re.fullmatch(r'"?sep=([;,|\t])"?', lines[0].text.strip(" ")) if lines else None
    candidates: list[tuple[tuple[int, int], Header]] = []
    for delimiter in (declared[1],) if declared else DELIMITERS:
        header = _header_with(lines, delimiter, mapped, bool(declared))
        if header is not None:
            named = sum(bool(heading(cell).slugs) for cell in header.cells)
            candidates.append(((complete_rows(lines, header), named), header))
    return max(candidates, key=lambda candidate: candidate[0])[1] if candidates else None


def _header_with(lines: Sequence[Line], delimiter: str, mapped: Mapping[str, str], declared: bool) -> Header | None:
    budget = 20_000  # of cells to look at: a hostile file cannot make the search long
    for index, line in enumerate(lines):
        text, last = _joined_lines(lines, index)
        if delimiter not in text or not _LETTER.search(text):
            continue
        cells = split_cells(text, delimiter)
        budget -= len(cells)
        if budget < 0:
            return None
        if is_header(cells, mapped):
            return _with_units(lines, last, line.number, tuple(cells), delimiter, declared)
    return None


def _joined_lines(lines: Sequence[Line], index: int) -> tuple[str, int]:
    """Return a header line, joined with the next where a quoted cell holds line breaks, and its last line's index."""
    text = lines[index].text
    if text.count('"') % 2:
        for last in range(index + 1, min(index + 5, len(lines))):
            text += " " + lines[last].text
            if text.count('"') % 2 == 0:
                return text, last
    return lines[index].text, index


def _with_units(
    lines: Sequence[Line], last: int, line: int, cells: tuple[str, ...], delimiter: str, declared: bool
) -> Header:
    """Return the header with the units row below it, if there is one after blank lines and dashes."""
    units: tuple[str, ...] = ()
    units_line = 0
    after = lines[last]
    for following in lines[last + 1 : last + 6]:
        row = split_cells(following.text, delimiter)
        if not units and _is_units_row(row, cells):
            units, units_line = tuple(row), following.number
        elif any(cell.strip("-=_ ") for cell in row):
            break
        after = following
    return Header(delimiter, line, cells, units, units_line, after.stop, after.number + 1, declared)


def _is_units_row(row: Sequence[str], cells: Sequence[str]) -> bool:
    """Return whether a row holds units under the channels that matter, and nothing else under them."""
    fitting = False
    for index, cell in enumerate(cells):
        slugs = heading(cell).slugs
        text = row[index].strip(" ()[]{}") if index < len(row) else ""
        if text in ("", "-", "--"):
            continue
        if _fits(slugs, text):
            fitting = True
        elif any(slug in REQUIRED for slug in slugs) and (is_number(text) or not _is_any_unit(text)):
            return False
    # Under a record's own mapping the header's words say nothing: a row of nothing but units is one too.
    texts = [cell.strip(" ()[]{}") for cell in row if cell.strip(" ()[]{}-")]
    return fitting or (bool(texts) and all(_is_any_unit(text) and not is_number(text) for text in texts))


def complete_rows(lines: Sequence[Line], header: Header) -> int:
    """Count the first rows with a cell for every column, and numbers in those with a known heading."""
    known = [index for index, cell in enumerate(header.cells) if heading(cell).slugs]
    rows = [line for line in lines if line.number >= header.data_line and line.text.strip()][:_SAMPLED_ROWS]
    count = 0
    for line in rows:
        cells = split_cells(line.text, header.delimiter)
        if len(cells) >= len(header.cells):
            count += all(not cells[i] or is_number(cells[i]) or CLOCK.fullmatch(cells[i]) for i in known)
    return count
