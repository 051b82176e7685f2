"""Cyclic logger files with known cycles, for tests."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.models import Blob
from labmatrix.evidence.services.blob import blob_put
from tests.results.cyclic_signals import Record
from tests.results.scene import NOW

Floats = npt.NDArray[np.float64]
MAP: list[dict[str, Any]] = [
    {"column": "time", "quantity": "time", "unit": "s"},
    {"column": "load", "quantity": "load", "unit": "kN"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm"},
]


def csv_of(columns: Mapping[str, Floats], *, head: bool = True, digits: int = 6) -> bytes:
    """A plain logger file; a number that is missing is an empty cell."""
    rows = [",".join(columns)] if head else []
    rows += [
        ",".join("" if np.isnan(v) else f"{v:.{digits}f}" for v in row)
        for row in zip(*columns.values(), strict=True)
    ]
    return ("\n".join(rows) + "\n").encode()


def columns_of(record: Record, **more: Any) -> dict[str, Floats]:
    """Time, load and deflection as a file writes them."""
    return {"time": record.time, "load": record.load, "deflection": record.deflection, **more}


def blob_of(content: bytes) -> Blob:
    """The bytes among the blobs."""
    return blob_put(stream=io.BytesIO(content), now=NOW)


def inputs_of(
    files: Mapping[str, bytes],
    channels: Sequence[Mapping[str, Any]] = MAP,
    *,
    settings: Mapping[str, Any] | None = None,
    cycle_offset: int = 0,
    calibrations: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """Inputs of a cyclic reduction as the pipeline gathers them."""
    return {
        "files": [{"name": n, "sha256": blob_of(c).sha256} for n, c in files.items()],
        "channel_map": ChannelMap.from_data(list(channels)).canonical(),
        "specimen": {"subject": "QS-P0-LAB-01"},
        "cycle_offset": cycle_offset,
        "calibrations": list(calibrations),
        "settings": dict(settings or {}),
        "reduction": {"name": "cyclic", "version": "4"},
    }
