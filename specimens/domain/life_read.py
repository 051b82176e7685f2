"""The state of a specimen as it was kept, back to what the fold made."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from labmatrix.kernel.clock import parse_instant
from specimens.domain.life import (
    BreakSeen,
    CyclingRun,
    LayerPlaced,
    Life,
    StayInMachine,
    SustainedLoad,
)

_PARTS: Mapping[str, type[Any]] = {
    "layers": LayerPlaced,
    "stays": StayInMachine,
    "runs": CyclingRun,
    "breaks": BreakSeen,
    "sustained": SustainedLoad,
    "sustained_before": SustainedLoad,
}
_INSTANTS = frozenset({"since", "until", "at"})


def _instant(value: str | None) -> datetime | None:
    return None if value is None else parse_instant(value, argument="instant")


def _part(shape: type[Any], data: Mapping[str, Any]) -> Any:
    return shape(**{k: _instant(v) if k in _INSTANTS else v for k, v in data.items()})


def _read(name: str, value: Any) -> Any:
    if value is None:
        return None
    if name in _PARTS:
        if isinstance(value, list):
            return [_part(_PARTS[name], item) for item in value]
        return _part(_PARTS[name], value)
    if name == "held":
        return {point: _instant(at) for point, at in value.items()}
    if name == "repaired_at":
        return [_instant(at) for at in value]
    return _instant(value) if name.endswith("_at") else value


def life_from(data: Mapping[str, Any]) -> Life:
    """The life that ``Folded.as_dict()["life"]`` holds.

    Names that an older fold did not know yet keep their first value.
    """
    known = {f.name for f in dataclasses.fields(Life)}
    return Life(**{name: _read(name, value) for name, value in data.items() if name in known})
