"""Dyno logs as different dynos write them: separators, decimal commas, units rows, lines before the header."""

from __future__ import annotations

from dataclasses import dataclass

from tests.demo.engine_model import Array

# unit -> (scale, offset): written = SI * scale + offset.
UNITS: dict[str, tuple[float, float]] = {
    "rpm": (60.0, 0.0),
    "1/min": (60.0, 0.0),
    "N m": (1.0, 0.0),
    "Nm": (1.0, 0.0),
    "lb-ft": (1 / 1.3558179483, 0.0),
    "kgf m": (1 / 9.80665, 0.0),
    "kW": (1e-3, 0.0),
    "hp": (1 / 745.69987158, 0.0),
    "PS": (1 / 735.49875, 0.0),
    "kg/h": (3600.0, 0.0),
    "g/s": (1e3, 0.0),
    "lb/h": (3600 / 0.45359237, 0.0),
    "m3/h": (3600.0, 0.0),
    "cfm": (60 / 0.028316846592, 0.0),
    "l/min": (60e3, 0.0),
    "kPa": (1e-3, 0.0),
    "mbar": (1e-2, 0.0),
    "bar": (1e-5, 0.0),
    "psi": (1 / 6894.757293, 0.0),
    "inHg": (1 / 3386.389, 0.0),
    "degC": (1.0, -273.15),
    "": (1.0, 0.0),
    "°C": (1.0, -273.15),
    "degF": (1.8, -459.67),
    "°F": (1.8, -459.67),
    "deg": (1.0, 0.0),
    "lambda": (1.0, 0.0),
    "AFR": (1.0, 0.0),
    "s": (1.0, 0.0),
    "ms": (1e3, 0.0),
}


@dataclass(frozen=True)
class Column:
    """One column: the channel, its header, its unit, how many decimals."""

    channel: str
    header: str
    unit: str
    decimals: int


@dataclass(frozen=True)
class Dialect:
    """How a dyno writes its logs."""

    columns: tuple[Column, ...]
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    newline: str = "\n"
    units_in: str = "header"
    """Where the unit stands: header (in brackets), row (a second row), or nowhere."""
    before: tuple[str, ...] = ()
    """Lines before the header."""
    quoted: bool = False
    counter: str | None = None
    """Header of a first column that only counts the rows."""

    def text(self, channels: dict[str, Array]) -> str:
        """Return the log as text."""
        lines = list(self.before)
        heads = [self._head(column) for column in self.columns]
        lines.append(self._row(([self.counter] if self.counter else []) + heads))
        if self.units_in == "row":
            lines.append(self._row(([""] if self.counter else []) + [column.unit for column in self.columns]))
        for index in range(channels["engine_speed"].size):
            cells = [self._number(channels[c.channel][index], c) for c in self.columns]
            lines.append(self.delimiter.join(([str(index + 1)] if self.counter else []) + cells))
        return self.newline.join(lines) + self.newline

    def encode(self, channels: dict[str, Array]) -> bytes:
        """Return the log as the bytes of its file."""
        return self.text(channels).encode(self.encoding)

    def _head(self, column: Column) -> str:
        return f"{column.header} [{column.unit}]" if self.units_in == "header" and column.unit else column.header

    def _row(self, cells: list[str]) -> str:
        return self.delimiter.join(f'"{cell}"' if self.quoted else cell for cell in cells)

    def _number(self, value: float, column: Column) -> str:
        scale, offset = UNITS[column.unit or ("rpm" if column.channel == "engine_speed" else "")]
        written = f"{value * scale + offset:.{column.decimals}f}"
        return written.replace(".", self.decimal)
