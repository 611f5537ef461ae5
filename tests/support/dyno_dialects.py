"""One invented pull written in every dialect a dyno may export, and where each of its rows stands in the file."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

# slug, heading, unit as written, decimals
COLUMNS = (
    ("time", "Time", "s", 2),
    ("engine_speed", "Engine speed", "rpm", 1),
    ("torque", "Torque", "lb-ft", 1),
    ("power", "Power", "hp", 1),
    ("oil_temperature", "Oil temp", "°C", 1),
)
SLUGS = tuple(column[0] for column in COLUMNS)
# scale and offset to SI, from the definitions: 1 lbf = 0.45359237 kg x 9.80665 m/s2, 1 ft = 0.3048 m,
# 1 hp = 550 ft lbf/s (NIST SP 811, B.8)
POUND_FOOT = 0.45359237 * 9.80665 * 0.3048
TO_SI = {
    "time": (1.0, 0.0),
    "engine_speed": (1.0 / 60.0, 0.0),
    "torque": (POUND_FOOT, 0.0),
    "power": (550.0 * POUND_FOOT, 0.0),
    "oil_temperature": (1.0, 273.15),
}


@dataclass(frozen=True)
class Dialect:
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    encoding: str = "utf-8"
    newline: str = "\n"
    units: str = "brackets"  # brackets, square, comma, row, bracketed row
    before: tuple[str, ...] = ()
    quoted: bool = False
    ended: bool = True
    trailing: bool = False
    padded: bool = False

    def number(self, value: float, decimals: int) -> str:
        text = f"{value:,.{decimals}f}" if self.thousands else f"{value:.{decimals}f}"
        return text.translate({ord(","): self.thousands, ord("."): self.decimal})

    def line(self, cells: list[str]) -> str:
        written = []
        for cell in cells:
            must = self.delimiter in cell or '"' in cell
            written.append('"' + cell.replace('"', '""') + '"' if self.quoted or must else cell)
        return (self.delimiter + " " * self.padded).join(written) + self.delimiter * self.trailing

    def heads(self) -> list[list[str]]:
        names, units = [c[1] for c in COLUMNS], [c[2] for c in COLUMNS]
        if self.units == "row":
            return [names, units]
        if self.units == "bracketed row":
            return [names, [f"[{unit}]" for unit in units]]
        form = {"brackets": "{} ({})", "square": "{} [{}]", "comma": "{}, {}"}[self.units]
        return [[form.format(name, unit) for name, unit in zip(names, units, strict=True)]]

    def encode(self, lines: list[str]) -> bytes:
        text = self.newline.join(lines) + self.newline * self.ended
        if self.encoding.startswith("utf-16-"):  # with a mark, as spreadsheets write it
            return ("\ufeff" + text).encode(self.encoding)
        return text.encode(self.encoding)


def pull(rows: int, seed: int = 0) -> np.ndarray:
    """Return a pull as written numbers, shape (rows, columns): a rising speed, a torque hill, power to match."""
    random = np.random.default_rng(seed)
    speed = np.round(2450.0 + np.cumsum(random.uniform(60.0, 140.0, rows)), 1)
    torque = np.round(430.0 - 60.0 * ((speed - 4300.0) / 2500.0) ** 2 + random.normal(0.0, 1.5, rows), 1)
    power = np.round(torque * speed / 5252.0, 1)
    time = np.round(0.05 + 0.13 * np.arange(rows), 2)
    oil = np.round(88.0 + 9.0 * np.arange(rows) / max(rows, 1), 1)
    return np.column_stack([time, speed, torque, power, oil])


def table(dialect: Dialect, data: np.ndarray) -> tuple[list[list[str]], list[list[str]]]:
    """Return the header rows and the data rows, as cells."""
    decimals = [column[3] for column in COLUMNS]
    return dialect.heads(), [[dialect.number(v, d) for v, d in zip(row, decimals, strict=True)] for row in data]


def write_log(dialect: Dialect, data: np.ndarray) -> bytes:
    heads, rows = table(dialect, data)
    return dialect.encode([*dialect.before, *(dialect.line(cells) for cells in (*heads, *rows))])


def first_data_line(dialect: Dialect) -> int:
    return len(dialect.before) + len(dialect.heads()) + 1


def in_si(data: np.ndarray) -> dict[str, np.ndarray]:
    return {slug: data[:, i] * TO_SI[slug][0] + TO_SI[slug][1] for i, slug in enumerate(SLUGS)}


BEFORE = ("Pull 3 of the day", "", "Operator: unknown; cell 2", "Date: 2031-04-05 10:21", "Fuel, octane: 98")
_MARKS = (
    (".", ""), (".", ","), (".", " "), (",", ""), (",", "."), (",", " "), (",", "\u00a0"), (",", "\u202f"), (".", "'"),
)  # fmt: skip
_CODECS = ("utf-8", "utf-8-sig", "utf-16-le", "utf-16-be", "cp1252")


def dialects() -> list[Dialect]:
    """Return delimiter x marks x encoding in full, the other options in turn so that each meets each."""
    options = itertools.cycle(
        itertools.product(
            ("brackets", "square", "comma", "row", "bracketed row"), ("\n", "\r\n", "\r"), ((), BEFORE), (False, True)
        )
    )
    result = []
    for count, (delimiter, marks, codec) in enumerate(itertools.product(",;\t|", _MARKS, _CODECS)):
        decimal, thousands = marks
        if thousands == "\u202f" and codec == "cp1252":
            continue
        for _ in range(1 + count % 7):  # a stride that shares no factor with the number of options
            units, newline, before, quoted = next(options)
        result.append(Dialect(delimiter, decimal, thousands, codec, newline, units, before, quoted,
                            trailing=count % 5 == 3, padded=count % 4 == 1 and delimiter != "\t"))  # fmt: skip
    return result


def dialect_name(dialect: Dialect) -> str:
    return "-".join(
        ascii(part).strip("'")
        for part in (dialect.delimiter, dialect.decimal, dialect.thousands, dialect.encoding, dialect.units)
    )


def without_last_newline(dialect: Dialect) -> Dialect:
    return replace(dialect, ended=False)


def nearly_equal(left: float, right: float) -> bool:
    return math.isclose(left, right, rel_tol=1e-12, abs_tol=1e-12)
