"""What every function of the engine takes and gives back, and how it refuses the impossible."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Value = float | Array


class InputConflict(ValueError):
    """Inputs that cannot all be true: a plain sentence, and the names of the inputs in conflict.

    ``inputs`` holds the parameter names of the function that refused, so that a caller who knows where
    each was written down can point there.
    """

    def __init__(self, sentence: str, *inputs: str) -> None:
        """Keep the sentence to show, and the names of the inputs it is about."""
        super().__init__(sentence)
        self.inputs = inputs


def unwrap_scalar(value: npt.ArrayLike) -> Value:
    """Return a float for a single value, an array for several. Shape: unchanged."""
    array = np.asarray(value, dtype=np.float64)
    return float(array) if array.ndim == 0 else array


def reject_if(impossible: npt.ArrayLike, sentence: str, *inputs: str) -> None:
    """Raise :class:`InputConflict` with the sentence if any position is impossible, saying which ones.

    A position that was not measured (NaN) is never impossible: it stays NaN in the result.
    """
    if isinstance(impossible, (bool, np.bool_)) and not impossible:
        return  # the usual case of a single value, asked some thousand times for a page
    mask = np.asarray(impossible, dtype=bool)
    if not mask.any():
        return
    if mask.ndim == 1 and mask.size > 1:
        positions = ", ".join(str(index + 1) for index in np.flatnonzero(mask)[:8])
        sentence = f"{sentence} (position {positions})"
    raise InputConflict(sentence, *inputs)


def require_positive(**named: Value) -> None:
    """Raise :class:`InputConflict` unless every named input is greater than zero."""
    for name, value in named.items():
        if isinstance(value, float) and not value <= 0:
            continue
        reject_if(np.asarray(value) <= 0, f"the {name.replace('_', ' ')} must be greater than zero", name)


def require_not_negative(**named: Value) -> None:
    """Raise :class:`InputConflict` if a named input is less than zero."""
    for name, value in named.items():
        if isinstance(value, float) and not value < 0:
            continue
        reject_if(np.asarray(value) < 0, f"the {name.replace('_', ' ')} cannot be less than zero", name)
