"""A column's name and unit as the file writes them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from types import MappingProxyType

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import dimension_of, unit_spelled

_BRACKETED = re.compile(r"[\[(<]\s*([^\[\]()<>]*?)\s*[\])>]\s*$")
_AFTER_SLASH = re.compile(r"(?<=\s)/\s*([^\s/][^/]*?)\s*$")
_AFTER_IN = re.compile(r"(?:,\s*|\s+in\s+)([^\s,]+(?: RH)?)\s*$")
_AFTER_UNDERSCORE = re.compile(r"_([A-Za-zµμ°%][^_\s]*)\s*$")
_UNIT_ENDINGS = (_BRACKETED, _AFTER_SLASH, _AFTER_IN, _AFTER_UNDERSCORE)
# One letter behind an underscore is more often part of a name (T_C, SG_K) than a unit.
_LONE_LETTERS = frozenset("cfknmh")

# Spellings met in units rows that the conversion module does not list, in lower case.
_UNIT_WORDS = MappingProxyType(
    {
        "kn": "kN", "n": "N", "mn": "MN", "lbf": "lbf", "lb": "lbf", "kip": "kip", "kips": "kip",
        "mm": "mm", "millimeter": "mm", "millimetre": "mm", "cm": "cm", "m": "m", "in": "in",
        "in.": "in", "inch": "in", "inches": "in", "ft": "ft", "µm": "µm", "um": "µm",
        "mpa": "MPa", "kpa": "kPa", "gpa": "GPa", "psi": "psi", "ksi": "ksi",
        "s": "s", "sec": "s", "sec.": "s", "second": "s", "seconds": "s", "ms": "ms",
        "msec": "ms", "min": "min", "minutes": "min", "h": "h", "hr": "h", "hours": "h",
        "µm/m": "µm/m", "um/m": "µm/m", "µε": "µm/m", "ue": "µm/m", "µstrain": "µm/m",
        "ustrain": "µm/m", "microstrain": "µm/m", "mm/mm": "mm/mm", "m/m": "mm/mm",
        "strain": "mm/mm", "in/in": "in/in", "‰": "‰", "%": "%",
        "°c": "°C", "degc": "°C", "deg c": "°C", "celsius": "°C", "deg_c": "°C",
        "°f": "°F", "degf": "°F", "deg f": "°F", "fahrenheit": "°F", "k": "K", "c": "°C",
        "% rh": "% RH", "%rh": "% RH", "rh%": "% RH", "rh": "% RH", "% r.h.": "% RH",
        "%r.h.": "% RH", "rh %": "% RH", "hz": "Hz", "1/min": "1/min",
        "-": "1", "1": "1", "count": "1", "counts": "1", "cycles": "1", "cycle": "1",
    }
)  # fmt: skip
# Words of a units row that name no unit of ours; they tell that the row is one.
_OTHER_UNIT_WORDS = frozenset(
    {
        "v", "mv", "volt", "volts", "mv/v", "a", "ma", "ohm", "ω", "hh:mm:ss", "h:mm:ss",
        "hh:mm:ss.fff", "hh:mm:ss.000", "hh:mm", "mm:ss", "yyyy-mm-dd", "dd.mm.yyyy", "date",
        "time", "ts", "rn", "deg", "°", "rad", "g", "m/s²", "mm/s", "kn/s", "mm/min", "bar",
        "n/mm²", "kn·m", "knm", "kn*m", "kn/mm", "j",
    }
)  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column: its name exactly as the header writes it, and its unit as written or None."""

    name: str
    unit: str | None = None


def plain_name(name: str) -> str:
    """A column name as people type it: without white space at its ends."""
    return name.strip()


def bare_name(name: str) -> str:
    """A column name without the unit that it carries at its end."""
    stripped = name.strip()
    ending = _unit_ending(stripped)
    return stripped if ending is None else stripped[: ending.start()].rstrip(" ,;:/_-")


def unit_in_name(name: str) -> str | None:
    """The unit at the end of a name: ``Load [kN]``, ``Load / kN``, ``Load in kN``, ``load_kN``."""
    ending = _unit_ending(name.strip())
    return None if ending is None else (ending.group(1) or None)


def _unit_ending(name: str) -> re.Match[str] | None:
    for pattern in _UNIT_ENDINGS:
        found = pattern.search(name)
        if found is None or found.start() == 0 or not is_unit_word(found.group(1)):
            continue
        if pattern is _AFTER_UNDERSCORE and found.group(1).lower() in _LONE_LETTERS:
            continue
        if pattern in (_BRACKETED, _AFTER_SLASH) or known_unit(found.group(1)) is not None:
            return found
    return None


def unit_text(cell: str) -> str | None:
    """What a cell of a units row says, without brackets; None where it is empty."""
    text = cell.strip().strip("[]()<>").strip()
    return text or None


def known_unit(text: str | None) -> str | None:
    """Our spelling of a unit as a logger wrote it, forgiving of case; None where not known."""
    if text is None:
        return None
    stripped = text.strip().strip("[]()<>").strip().replace("μ", "µ")
    if not stripped:
        return None
    spelled = unit_spelled(stripped)
    try:
        dimension_of(spelled)
    except ShapeError:
        return _UNIT_WORDS.get(stripped.lower())
    return spelled


def is_unit_word(cell: str) -> bool:
    """Whether a cell reads as a unit, one of ours or another that loggers write."""
    text = unit_text(cell)
    if text is None:
        return False
    return known_unit(text) is not None or text.lower() in _OTHER_UNIT_WORDS
