"""The grammar of written time: clocks and dates, as seconds.

Seconds count from 00:00 of the first day of the record (a clock without a date counts from its
own midnight), so that the digits after the point survive in a float64.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

_CLOCK = (
    r"(?P<hour>[0-9]{1,4}):(?P<minute>[0-5][0-9])"
    r"(?::(?P<second>[0-5][0-9](?:[.,:][0-9]+)?))?(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_ZONE = r"(?: ?(?P<zone>Z|z|UTC|[+-][0-9]{2}:?[0-9]{2}))?"
_DATES = {
    "year first": r"(?P<year>[0-9]{4})[-/.](?P<month>[0-9]{1,2})[-/.](?P<day>[0-9]{1,2})",
    "day first": r"(?P<day>[0-9]{1,2})[./-](?P<month>[0-9]{1,2})[./-](?P<year>[0-9]{4})",
    "month first": r"(?P<month>[0-9]{1,2})/(?P<day>[0-9]{1,2})/(?P<year>[0-9]{4})",
}
GROUPS = ("year", "month", "day", "hour", "minute", "second", "half", "zone")


def _whole(date_part: str) -> str:
    return rf"^{date_part}(?:[ T,]+{_CLOCK}{_ZONE})?$"


_PATTERNS = {"clock": rf"^{_CLOCK}$"} | {name: _whole(part) for name, part in _DATES.items()}
_COMPILED = {name: re.compile(text) for name, text in _PATTERNS.items()}
_ROUGH = re.compile(r"[0-9]{1,4}(?::[0-5][0-9]|[-/.][0-9]{1,2}[-/.][0-9]{2,4})")


@dataclass(frozen=True)
class TimeForm:
    """How a column writes time: ``clock``, ``year first``, ``day first`` or ``month first``.

    Attributes:
        name: one of the four.
        proved: False where day first and month first both fit the head of the file, so that the
            next date must follow within a day.
        days_only: whether the cells are dates without a clock, which stand beside a clock column.
    """

    name: str
    proved: bool = True
    days_only: bool = False

    @property
    def dated(self) -> bool:
        """Whether each cell carries its date."""
        return self.name != "clock"

    @property
    def pattern(self) -> str:
        """Regular expression of one whole cell, with the groups named in ``GROUPS``."""
        return _PATTERNS[self.name]

    def parse(self, text: str) -> tuple[int, float] | None:
        """Day number (days since 1970-01-01, 0 without a date) and seconds of that day.

        None where the stripped cell is not time in this form or names no day of the calendar.
        """
        found = _COMPILED[self.name].match(text)
        if found is None:
            return None
        parts = found.groupdict()
        day = 0
        if self.dated:
            try:
                day = date(int(parts["year"]), int(parts["month"]), int(parts["day"])).toordinal()
            except ValueError:
                return None
            day -= EPOCH_ORDINAL
        return day, _seconds_of(parts)


EPOCH_ORDINAL = date(1970, 1, 1).toordinal()


def _seconds_of(parts: dict[str, str | None]) -> float:
    hour, minute = int(parts["hour"] or 0), int(parts["minute"] or 0)
    if parts["half"]:
        hour = hour % 12 + (12 if parts["half"] in "Pp" else 0)
    second = float((parts["second"] or "0").replace(",", ".").replace(":", "."))
    return float(hour * 3600 + minute * 60 - _zone_seconds(parts.get("zone"))) + second


def _zone_seconds(zone: str | None) -> int:
    if not zone or zone in ("Z", "z", "UTC"):
        return 0
    size = int(zone[1:3]) * 3600 + int(zone[-2:]) * 60
    return size if zone[0] == "+" else -size


def looks_like_time(text: str) -> bool:
    """Whether a stripped cell is time in any of the forms."""
    return _ROUGH.match(text) is not None and any(
        pattern.match(text) is not None for pattern in _COMPILED.values()
    )


def time_form_of(cells: Iterable[str], order: str | None = None) -> TimeForm | None:
    """The form that fits most of the sample cells of a column; None where none does.

    Dates with slashes are day first or month first by evidence: a part above 12, or dates that
    follow each other within a day in one order only. Without evidence the form is not proved.

    Args:
        cells: stripped cells from the head of the file.
        order: ``day first`` or ``month first``, to be tried where there is no evidence.
    """
    sample = [cell for cell in cells if cell]
    fitting = {
        name: [day for cell in sample if (day := TimeForm(name).parse(cell)) is not None]
        for name in _COMPILED
    }
    best = max(len(found) for found in fitting.values())
    if best == 0 or 2 * best < len(sample):
        return None
    names = [name for name, found in fitting.items() if len(found) == best]
    if len(names) > 1:
        names = [n for n in names if days_follow([day for day, _ in fitting[n]])] or names
    days_only = not any(":" in cell for cell in sample)
    if len(names) == 1:
        return TimeForm(names[0], days_only=days_only)
    return TimeForm(order or names[0], proved=False, days_only=days_only)


def days_follow(days: Iterable[int]) -> bool:
    """Whether each day number is that of the row before or the next day."""
    listed = list(days)
    return all(0 <= b - a <= 1 for a, b in itertools.pairwise(listed))


def seconds_of_cells(
    cells: Iterable[str], form: TimeForm
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Day numbers and seconds of the day of cells; NaN seconds where a cell is not time."""
    parsed = [form.parse(cell) for cell in cells]
    days = np.array([0 if item is None else item[0] for item in parsed], dtype=np.int64)
    seconds = np.array([np.nan if item is None else item[1] for item in parsed], dtype=np.float64)
    return days, seconds


def seconds_of_arrow(
    column: Any, form: TimeForm
) -> tuple[NDArray[np.int64], NDArray[np.float64]] | None:
    """The same for a whole Arrow text column at once; None where any cell needs a closer look."""
    import pyarrow as pa
    import pyarrow.compute as pc

    parts = pc.extract_regex(column, pattern=form.pattern)
    if parts.null_count:
        return None

    def field(name: str) -> Any:
        if name not in {f.name for f in parts.type}:
            return None
        return pc.struct_field(parts, name)

    zone, half = field("zone"), field("half")
    if _any_text(zone) or _any_text(half):
        return None
    hours, minutes = _whole_numbers(field("hour")), _whole_numbers(field("minute"))
    second = pc.replace_substring_regex(field("second"), pattern="[,:]", replacement=".")
    second = pc.if_else(pc.equal(second, ""), "0", second)
    seconds = pc.cast(second, pa.float64()).to_numpy(zero_copy_only=False)
    total = (hours * 3600 + minutes * 60).astype(np.float64) + seconds
    if not form.dated:
        return np.zeros(len(total), dtype=np.int64), total
    days = _day_numbers(*(_whole_numbers(field(part)) for part in ("year", "month", "day")))
    return None if days is None else (days, total)


def _any_text(column: Any) -> bool:
    import pyarrow.compute as pc

    return column is not None and bool(pc.any(pc.not_equal(column, "")).as_py())


def _whole_numbers(column: Any) -> NDArray[np.int64]:
    import pyarrow as pa
    import pyarrow.compute as pc

    filled = pc.if_else(pc.equal(column, ""), "0", column)
    numbers: NDArray[np.int64] = pc.cast(filled, pa.int64()).to_numpy(zero_copy_only=False)
    return numbers


def _day_numbers(
    year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]
) -> NDArray[np.int64] | None:
    """Days since 1970-01-01; None where a date is not in the calendar."""
    if ((year < 1) | (month < 1) | (month > 12) | (day < 1)).any():
        return None
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day - 1)
    if (days.astype("datetime64[M]") != months).any():
        return None
    return days.astype(np.int64)
