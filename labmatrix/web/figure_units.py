"""A figure's payload in the units of the person who looks: axes, points, ranges, hover.

Payloads are made in base units with the unit in the axis title, as ``Deflection (mm)``. This is
the one place where they are converted; what has no unit, or one that both systems share, stays.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import conversion
from labmatrix.web.domain.unit_systems import SI, unit_shown

Payload = Mapping[str, Any]
_UNIT = re.compile(r"^(?P<words>.*\()(?P<unit>[^()]+)(?P<end>\))\s*$", re.DOTALL)
_AXIS = re.compile(r"^(?P<letter>[xy])axis(?P<number>\d*)$")
# What the drawing script writes on the axes of a kind where the page says nothing.
_TITLES = {"load-deflection": {"xaxis": "Deflection (mm)", "yaxis": "Load (kN)"}}
# A base unit has a thousandth or more of its neighbour: seven digits keep every pixel.
_DIGITS = 9


@dataclass(frozen=True)
class Scale:
    """How numbers along one axis become the person's: ``value * factor + offset``."""

    factor: float = 1.0
    offset: float = 0.0

    def point(self, value: Any) -> Any:
        """A place on the axis; a gap, a text or a date stays what it is."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            return value
        return _rounded(value * self.factor + self.offset)

    def length(self, value: Any) -> Any:
        """A distance along the axis, such as half an error bar: scaled, never shifted."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            return value
        return _rounded(value * self.factor)


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else value


def payload_shown(payload: Payload, system: str) -> dict[str, Any]:
    """The payload with every axis in the person's units; the given one is left as it is.

    Args:
        payload: {"data", "layout", "kind"?, "finer"?} in base units.
        system: the person's unit system.

    A figure that fetches finer rows is told in ``finer.units`` how to convert them:
    {"x": [factor, offset], "y": [factor, offset]}, since the API answers in base units.
    """
    if system == SI:
        return dict(payload)
    layout, scales = _layout(payload, system)
    shown = {**payload, "layout": layout}
    shown["data"] = [_trace(trace, scales) for trace in payload.get("data", ())]
    if payload.get("finer"):
        units = {
            letter: [scales[name].factor, scales[name].offset]
            for letter, name in (("x", "xaxis"), ("y", "yaxis"))
            if name in scales
        }
        shown["finer"] = {**payload["finer"], "units": units}
    return shown


def _titled(title: str, system: str) -> tuple[str, Scale] | None:
    """A title in the person's unit and how to get there; None where its unit stays."""
    found = _UNIT.match(title)
    if found is None:
        return None
    try:
        target = unit_shown(found["unit"], system)
        factor, offset = conversion(found["unit"], target)
    except ShapeError:  # words in brackets, no unit
        return None
    if (factor, offset) == (1.0, 0.0):
        return None
    return f"{found['words']}{target}{found['end']}", Scale(factor, offset)


def _layout(payload: Payload, system: str) -> tuple[dict[str, Any], dict[str, Scale]]:
    layout = dict(payload.get("layout") or {})
    for name, words in _TITLES.get(str(payload.get("kind", "")), {}).items():
        layout[name] = {"title": {"text": words}, **layout.get(name, {})}
    scales: dict[str, Scale] = {}
    for name, axis in layout.items():
        if not _AXIS.match(name) or not isinstance(axis, Mapping):
            continue
        title = axis.get("title", "")
        text = title.get("text", "") if isinstance(title, Mapping) else title
        told = _titled(str(text), system)
        if told is None:
            continue
        words, scales[name] = told
        held = {**title, "text": words} if isinstance(title, Mapping) else words
        layout[name] = {**_axis(axis, scales[name]), "title": held}
    for name in ("shapes", "annotations"):
        if name in layout:
            layout[name] = [_placed(item, scales) for item in layout[name]]
    return layout, scales


def _axis(axis: Payload, scale: Scale) -> dict[str, Any]:
    """Range and named ticks; a logarithmic range is in powers of ten."""
    found = dict(axis)
    if "range" in axis:
        found["range"] = [_end(axis, value, scale) for value in axis["range"]]
    if "tickvals" in axis:
        found["tickvals"] = [scale.point(value) for value in axis["tickvals"]]
    return found


def _end(axis: Payload, value: Any, scale: Scale) -> Any:
    if axis.get("type") != "log" or not isinstance(value, int | float):
        return scale.point(value)
    return _rounded(math.log10(scale.point(10.0**value)))


def _name(letter: str, of: Payload, key: str) -> str:
    """The layout's name of an axis that a trace or shape calls ``x``, ``y2`` and so on."""
    told = str(of.get(key) or letter)
    return f"{letter}axis{told[1:]}"


def _trace(trace: Payload, scales: Mapping[str, Scale]) -> dict[str, Any]:
    found = dict(trace)
    for letter in ("x", "y"):
        scale = scales.get(_name(letter, trace, f"{letter}axis"))
        if scale is None:
            continue
        if letter in trace:
            found[letter] = _each(trace[letter], scale.point)
        bars = trace.get(f"error_{letter}")
        if isinstance(bars, Mapping):
            told = {n: bars[n] for n in ("array", "arrayminus") if n in bars}
            found[f"error_{letter}"] = {
                **bars,
                **{n: _each(values, scale.length) for n, values in told.items()},
            }
    return found


def _each(values: Sequence[Any], change: Callable[[Any], Any]) -> list[Any]:
    return [change(value) for value in values]


def _placed(item: Payload, scales: Mapping[str, Scale]) -> dict[str, Any]:
    """A shape or a note on the drawing, unless it is placed on the paper."""
    found = dict(item)
    for letter in ("x", "y"):
        scale = scales.get(_name(letter, item, f"{letter}ref"))
        if scale is None or item.get(f"{letter}ref") == "paper":
            continue
        for name in (letter, f"{letter}0", f"{letter}1"):
            if name in item:
                found[name] = scale.point(item[name])
    return found
