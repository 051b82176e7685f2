"""What a column probably measures, from its name and unit: a proposal for a person to accept."""

from __future__ import annotations

import re
from types import MappingProxyType

from labmatrix.evidence.reading.column import Column, bare_name, known_unit
from labmatrix.kernel.units import dimension_of

# Words of the trade in names of columns, English and German. First match wins.
_WORDS: tuple[tuple[str, str], ...] = (
    ("time", r"time|zeit|elapsed|clock|uhr|date|datum|timestamp|sec|seconds|t"),
    (
        "count",
        r"cycles?|count|counter|lastwechsel|n|zyklus|zyklen|segment|record|row|index|rn|nr|no",
    ),
    ("crack-width", r"cracks?|crack.?width|riss|rissbreite|cw|cod|clip.?gauge"),
    ("strain", r"strain|sg[0-9]*|eps|epsilon|ε|gauge|dehnung|dms|microstrain"),
    ("slip", r"slip|schlupf|slippage"),
    ("settlement", r"settlement|support|auflager|setzung"),
    ("humidity", r"humidity|rh|feuchte|rel|moisture"),
    ("temperature", r"temperature|temp|temperatur|tc[0-9]*|thermo.*"),
    ("load", r"load|force|kraft|last|f|p|lc[0-9]*|cell"),
    (
        "deflection",
        r"deflection|defl|displacement|displ?|displacment|disp|lvdt[0-9]*|weg|durchbiegung|"
        r"stroke|position|piston|mid.?span|extension|travel|w|d|potentiometer|string",
    ),
)
_BY_DIMENSION = MappingProxyType(
    {
        "force": "load",
        "length": "deflection",
        "strain": "strain",
        "temperature": "temperature",
        "humidity": "humidity",
        "time": "time",
        "duration": "time",
    }
)
_ALLOWED = MappingProxyType(
    {
        "time": ("time", "duration"),
        "load": ("force",),
        "deflection": ("length",),
        "settlement": ("length",),
        "slip": ("length",),
        "crack-width": ("length",),
        "strain": ("strain",),
        "temperature": ("temperature",),
        "humidity": ("humidity", "strain"),
        "count": ("number",),
    }
)


def guess_quantity(column: Column) -> str | None:
    """The quantity that a column's name and unit point to, or None.

    The unit decides between quantities of different kinds, the name between those of one kind.
    """
    unit = known_unit(column.unit)
    dimension = dimension_of(unit).name if unit is not None else None
    words = [w for w in re.split(r"[^\wεµ]+|_+", bare_name(column.name).lower()) if w]
    for quantity, pattern in _WORDS:
        fits = dimension is None or dimension in _ALLOWED[quantity]
        if fits and any(re.fullmatch(pattern, re.sub(r"[0-9]+$", "", w) or w) for w in words):
            return quantity
    return _BY_DIMENSION.get(dimension) if dimension is not None else None
