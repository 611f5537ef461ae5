"""Reading an SVG back: the points of its paths."""

from __future__ import annotations

import re

SVG = "{http://www.w3.org/2000/svg}"
_TOKEN = re.compile(r"[a-zA-Z]|-?(?:\d+\.?\d*|\.\d+)")


def path_points(data: str) -> list[list[tuple[float, float]]]:
    """Return the points that each subpath of this path data goes through, control points left out."""
    tokens = _TOKEN.findall(data)
    subpaths: list[list[tuple[float, float]]] = []
    x = y = 0.0
    command = ""
    i = 0

    def take(count: int) -> list[float]:
        nonlocal i
        i += count
        return [float(token) for token in tokens[i - count : i]]

    while i < len(tokens):
        if tokens[i].isalpha():
            command = tokens[i]
            i += 1
        if command == "z":
            continue
        if command == "M":
            x, y = take(2)
            subpaths.append([])
        elif command == "h":
            x += take(1)[0]
        elif command == "v":
            y += take(1)[0]
        else:
            dx, dy = take({"l": 2, "q": 4, "c": 6}[command])[-2:]
            x, y = x + dx, y + dy
        subpaths[-1].append((round(x, 6), round(y, 6)))
    return subpaths
