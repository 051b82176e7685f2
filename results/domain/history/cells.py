"""What a cell of a workbook says: numbers, days, hours, quantities. Nothing is guessed."""

from __future__ import annotations

import math
import re
from datetime import date, datetime, time, timedelta
from typing import Any

from labmatrix.kernel.errors import UserError
from labmatrix.kernel.units import dimension_of, unit_spelled
from results.domain.history.places import CellWrong

_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?")
_GROUPED = re.compile(r"[-+]?\d{1,3}([., '\u00a0\u202f]\d{3})+([.,]\d+)?")
_GERMAN_DAY = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})")
_QUANTITY = re.compile(r"([-+]?[\d.,]+(?:[eE][-+]?\d+)?)\s*(\S.*)?")
EARLIEST, LATEST = date(1900, 1, 1), date(2200, 1, 1)

NOT_A_NUMBER = "it holds {text!r}; allowed is a number such as 87.31 or 87,31."
GROUPED = (
    "it holds {text!r}, which can be read in two ways; write the number without separators of "
    "thousands, such as 1234.5 or 1234,5."
)
DATE_AS_NUMBER = (
    "it holds a day where a number belongs: the program that wrote the workbook took the number "
    "for a date; format the cell as text and type it again."
)
NUMBER_AS_DATE = (
    "it holds the bare number {text}; format the cell as a date, or write the day as 2019-03-05."
)
NOT_A_DAY = "it holds {text!r}; allowed is a day such as 2019-03-05 or 05.03.2019."
SLASHES = (
    "it holds {text!r}, in which day and month cannot be told apart; write 2019-03-05 or "
    "05.03.2019."
)
OUTSIDE_YEARS = "it holds {text}; allowed are the years 1900 to 2199."
NOT_A_TIME = "it holds {text!r}; allowed is a time of day such as 14:30."
UNIT_UNKNOWN = "the unit {text!r} is not known; allowed here are {allowed}."
NO_UNIT = "{name} is {text!r}, without a unit; write it with one, such as {example}."


def text_of(raw: Any) -> str:
    """The text of a cell; a whole number without a point."""
    if raw is None:
        return ""
    if isinstance(raw, bool):
        return "yes" if raw else "no"
    if isinstance(raw, float) and raw.is_integer() and abs(raw) < 1e15:
        return str(int(raw))
    if isinstance(raw, datetime | date | time):
        return raw.isoformat()
    return str(raw).strip()


def number_of(raw: Any) -> float:
    """A number, with a decimal point or a decimal comma.

    Raises:
        CellWrong: it is none, or could be read in two ways.
    """
    if isinstance(raw, datetime | date | time):
        raise CellWrong("history.date-as-number", DATE_AS_NUMBER)
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        value = float(raw)
    else:
        value = _number_in(text_of(raw))
    if not math.isfinite(value) or abs(value) > 1e12:
        raise CellWrong("history.number", NOT_A_NUMBER.format(text=text_of(raw)[:40]))
    return value


def _number_in(text: str) -> float:
    plain = text.replace("\u2212", "-")
    if _NUMBER.fullmatch(plain):
        return float(plain.replace(",", "."))
    if _GROUPED.fullmatch(plain):
        raise CellWrong("history.number-grouped", GROUPED.format(text=text[:40]))
    raise CellWrong("history.number", NOT_A_NUMBER.format(text=text[:40]))


def whole_of(raw: Any) -> int:
    """A whole number.

    Raises:
        CellWrong: it is none.
    """
    value = number_of(raw)
    if not value.is_integer():
        raise CellWrong("history.whole", f"it holds {text_of(raw)!r}; allowed is a whole number.")
    return int(value)


def day_of(raw: Any) -> tuple[date, time | None]:
    """A day, and the time of day where the cell has one.

    Raises:
        CellWrong: it is none, or day and month cannot be told apart.
    """
    if isinstance(raw, datetime):
        found: tuple[date, time | None] = (raw.date(), raw.time() if raw.time() != time() else None)
    elif isinstance(raw, date):
        found = raw, None
    elif isinstance(raw, int | float):
        raise CellWrong("history.day-number", NUMBER_AS_DATE.format(text=text_of(raw)))
    else:
        found = _day_in(text_of(raw))
    if not EARLIEST <= found[0] < LATEST:
        raise CellWrong("history.years", OUTSIDE_YEARS.format(text=found[0].isoformat()))
    return found


def _day_in(text: str) -> tuple[date, time | None]:
    head, _, rest = text.replace("T", " ").partition(" ")
    hour = time_of(rest) if rest.strip() and ":" in rest else None
    day_text = head if hour is not None else text
    if "/" in day_text:
        raise CellWrong("history.day-slashes", SLASHES.format(text=text[:40]))
    german = _GERMAN_DAY.fullmatch(day_text)
    try:
        if german:
            return date(int(german[3]), int(german[2]), int(german[1])), hour
        return date.fromisoformat(day_text), hour
    except ValueError as error:
        raise CellWrong("history.day", NOT_A_DAY.format(text=text[:40])) from error


def time_of(raw: Any) -> time:
    """A time of day.

    Raises:
        CellWrong: it is none.
    """
    if isinstance(raw, datetime):
        return raw.time()
    if isinstance(raw, time):
        return raw
    if isinstance(raw, timedelta) and timedelta() <= raw < timedelta(days=1):
        return (datetime(2000, 1, 1) + raw).time()
    text = text_of(raw)
    try:
        if not re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", text):
            raise ValueError(text)
        return time.fromisoformat(text.zfill(5) if text.count(":") == 1 else text.zfill(8))
    except ValueError as error:
        raise CellWrong("history.time", NOT_A_TIME.format(text=text[:40])) from error


def unit_of(text: str, *, like: str = "") -> str:
    """A unit in our spelling.

    Args:
        text: as it was written.
        like: a unit of the kind that is wanted, whose units alone are named in the sentence.

    Raises:
        CellWrong: it is not known.
    """
    try:
        dimension_of(text)
    except UserError as error:
        if like:
            allowed = ", ".join(dimension_of(like).allowed)
            words = UNIT_UNKNOWN.format(text=text[:40], allowed=allowed)
            raise CellWrong(error.code, words) from error
        raise CellWrong(error.code, _lower_first(error.message)) from error
    return unit_spelled(text)


def quantity_of(text: str, *, name: str, example: str) -> dict[str, Any]:
    """``8,5 kN`` as {value, unit}.

    Args:
        text: what was written.
        name: of the quantity, for the sentence.
        example: with a unit that fits.

    Raises:
        CellWrong: no number, no unit, or one that is not known.
    """
    found = _QUANTITY.fullmatch(text.strip().replace("\u2212", "-"))
    if not found:
        raise CellWrong("history.number", f"{name}: {NOT_A_NUMBER.format(text=text[:40])}")
    value = number_of(found[1])
    if not found[2]:
        words = NO_UNIT.format(name=name, text=text[:40], example=example)
        raise CellWrong("history.unit-missing", words)
    return {"value": value, "unit": unit_of(found[2])}


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]
