"""plan.yaml: what an engine could be built with, before it is decided."""

from __future__ import annotations

from typing import Any

from builder.record.models.fields import Line, RecordModel, field


class Plan(RecordModel):
    """plan.yaml: parts to choose from."""

    alternatives: dict[Line, dict[Line, dict[Line, Any]]] | None = field(
        "parts to choose from: for each part its candidates, each with the fields that it would set; "
        "`millbook plan` lists every combination",
        "{pistons: {A: {pistons.compression_height: 1.560 in, pistons.dish: 6.2 cc}, "
        "B: {pistons.compression_height: 1.550 in, pistons.dish: 0 cc}}}",
        private="shop",
    )
