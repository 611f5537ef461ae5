"""Charts as requests, and the cache of charts that were drawn before.

A chart is first a value: which function draws it, and the plain values it shows. Requests can be compared by their
key, sent to another process and looked up in the cache. A chart from the cache needs no matplotlib.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, is_dataclass
from functools import cached_property, partial, update_wrapper
from pathlib import Path
from typing import Any, Generic, Protocol, TypeVar

import numpy as np

from builder.draw.canvas import rc_settings
from builder.draw.drawing import Drawing, PlotArea
from builder.draw.style import NARROW, WIDE, Size

D = TypeVar("D")
D_contra = TypeVar("D_contra", contravariant=True)


class DrawFunction(Protocol[D_contra]):
    """A function that draws its data under this name, which prefixes the ids in the SVG, at this size."""

    def __call__(self, data: D_contra, /, *, name: str, size: Size) -> Drawing:
        """Return the drawing."""


class Chart(Generic[D]):
    """A chart function. Called, it draws at once; ``request`` only says what is to be drawn."""

    def __init__(self, draw: DrawFunction[D]) -> None:
        """Wrap the function, whose name is the name of its drawings unless another is given."""
        self._draw = draw
        self.name: str = draw.__name__  # type: ignore[attr-defined]
        update_wrapper(self, draw)
        self.hash_name = f"{self.__module__}.{self.name}"

    def __call__(self, data: D, *, name: str = "", size: Size = WIDE) -> Drawing:
        """Return the drawing, with matplotlib's own settings set aside and without NumPy's warnings."""
        with rc_settings(), np.errstate(all="ignore"):
            return self._draw(data, name=name or self.name, size=size)

    def request(self, data: D, *, name: str = "", size: Size = WIDE, responsive: bool = False) -> ChartRequest:
        """Return the request for a drawing; a responsive one holds a wide and a narrow form."""
        return ChartRequest(self, data, name or self.name, size, responsive)

    def __reduce__(self) -> str:
        """Pickle the chart as the module-level name that it is."""
        return self.name


def chart(draw: DrawFunction[D]) -> Chart[D]:
    """Make a function a chart: drawn under our settings of matplotlib, and one that can be requested."""
    return Chart(draw)


@dataclass(frozen=True, eq=False)
class ChartRequest:
    """A chart that is to be drawn: the chart function, the values it shows, and their name and size."""

    chart: Chart[Any]
    data: Any
    name: str
    size: Size = WIDE
    responsive: bool = False

    @cached_property
    def key(self) -> str:
        """The hash of everything that the drawing depends on, but for the code that draws it.

        Raises TypeError where the data holds anything but plain values.
        """
        return hash_values(self.chart.hash_name, self.data, self.name, self.size, self.responsive)

    def draw(self) -> Drawing:
        """Return the drawing, drawn now."""
        if self.responsive:
            wide = self.chart(self.data, name=self.name, size=WIDE)
            return wide.with_narrow(self.chart(self.data, name=f"{self.name}_narrow", size=NARROW))
        return self.chart(self.data, name=self.name, size=self.size)


class PendingDrawing(Protocol):
    """A drawing that another process is at work on."""

    def result(self) -> Drawing:
        """Return the drawing once it is there. Raises what drawing it raised."""


Submit = Callable[[Callable[[], Drawing]], PendingDrawing]


class ChartCache:
    """Drawings in a folder, a file for each, named by the request's key and the hash of the code that draws.

    Without a folder nothing is cached. Several processes may use one folder at the same time.
    """

    def __init__(self, folder: Path | None, code_hash: str = "", submit: Submit | None = None) -> None:
        """Use this folder, which need not exist; ``code_hash`` changes with the program and its libraries.

        ``submit`` sends work to another process, for `draw_ahead`; a copy of the cache in that process has none.
        """
        self.folder, self.code_hash = folder, code_hash
        self._submit, self._pending = submit, dict[str, PendingDrawing]()
        self._suffix = f"_{hash_values(code_hash)[:16]}.json"

    def __reduce__(self) -> tuple[type[ChartCache], tuple[Path | None, str]]:
        """Pickle the cache without what is pending."""
        return ChartCache, (self.folder, self.code_hash)

    def draw_ahead(self, requests: Iterable[ChartRequest]) -> None:
        """Begin to draw what is missing in another process, if there is one; `draw` waits for it."""
        if self._submit is not None:
            for request in self.missing(requests):
                self._pending[request.key] = self._submit(
                    partial(ChartCache(self.folder, self.code_hash).draw, request)
                )

    def draw(self, request: ChartRequest) -> Drawing:
        """Return the drawing from the cache, or draw and store it; a damaged file counts as missing."""
        if (pending := self._pending.pop(request.key, None)) is not None:
            return pending.result()
        path = self._path(request.key)
        drawing = _read(path) if path else None
        if drawing is None:
            drawing = request.draw()
            if path:
                _write(path, drawing)
        return drawing

    def missing(self, requests: Iterable[ChartRequest]) -> list[ChartRequest]:
        """Return the requests for which no file is stored."""
        return [request for request in requests if not (path := self._path(request.key)) or not path.is_file()]

    def prune(self, used_keys: Iterable[str]) -> None:
        """Delete every stored drawing but those of these keys; files that hold no drawing stay."""
        if self.folder is None or not self.folder.is_dir():
            return
        used = {self._file_name(key) for key in used_keys}
        for entry in list(os.scandir(self.folder)):
            if entry.name not in used and entry.name.endswith((".json", ".part")):
                if entry.is_dir(follow_symlinks=False):
                    shutil.rmtree(entry.path)
                else:
                    Path(entry.path).unlink(missing_ok=True)

    def _path(self, key: str) -> Path | None:
        return self.folder / self._file_name(key) if self.folder else None

    def _file_name(self, key: str) -> str:
        return key + self._suffix


def _read(path: Path) -> Drawing | None:
    """Return the drawing of a file, or None where there is none that is as it was written."""
    try:
        content = json.loads(path.read_bytes())
        digest = content.pop("sha256")
        return _from_json(content) if digest == _digest(content) else None
    except (OSError, ValueError, TypeError, KeyError, IndexError, AttributeError):
        return None


def _write(path: Path, drawing: Drawing) -> None:
    """Store a drawing, so that at no moment half of it can be read; where that fails, it is drawn again next time."""
    content = asdict(drawing)
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(f".{os.getpid()}.part")
        part.write_text(json.dumps({**content, "sha256": _digest(content)}, ensure_ascii=False), encoding="utf-8")
        os.replace(part, path)


def _from_json(content: dict[str, Any]) -> Drawing:
    width, height = content.pop("size")
    narrow = content.pop("narrow_form")
    content["plots"] = tuple(PlotArea(*area) for area in content["plots"])
    content["samples"] = tuple(content["samples"])
    return Drawing(**content, size=(width, height), narrow_form=None if narrow is None else _from_json(narrow))


def _digest(content: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(content, ensure_ascii=False, sort_keys=True).encode()).hexdigest()


def hash_values(*values: Any) -> str:
    """Return the hash of plain values: numbers, texts, arrays, and tuples, dicts and dataclasses of such.

    Raises TypeError for any other.
    """
    parts: list[bytes] = []
    _collect_bytes(values, parts)
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "big") + part)
    return digest.hexdigest()[:32]


def _collect_bytes(value: Any, parts: list[bytes]) -> None:
    """Append the bytes of a value: its type, then its content, so that no two values have the same."""
    parts.append(type(value).__name__.encode())
    if isinstance(value, str):
        parts.append(value.encode("utf-8", "surrogatepass"))
    elif value is None or isinstance(value, int | float | np.generic):
        parts.append(repr(value).encode())
    elif isinstance(value, np.ndarray):
        parts += (str(value.dtype).encode(), repr(value.shape).encode(), value.tobytes())
    else:
        items = _items(value)
        parts.append(str(len(items)).encode())
        for item in items:
            _collect_bytes(item, parts)


def _items(value: Any) -> Sequence[Any]:
    if isinstance(value, list | tuple):
        return value
    if isinstance(value, dict):
        return [part for pair in value.items() for part in pair]
    if is_dataclass(value):
        return [getattr(value, name) for name in value.__dataclass_fields__]
    raise TypeError(f"a chart is drawn from plain values, not from {type(value).__name__}")
