"""A ribbon laid out on paper: bars, named instants in lanes, marks, and dates below.

The units are those of the drawing, 0 to ``WIDTH`` across; texts are judged by an average width of
their letters, so that none is laid over another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

from results.domain.ribbon import CYCLING, EXPOSED, HARDENING, SUSTAINED, Ribbon, Segment

WIDTH = 1000.0
# The width of a letter, and the least space between two labels.
_LETTER, _SPACE = 6.8, 12.0
_LANES_ABOVE, _LANES_BELOW = 3, 3
_MOST_DATES = 12
# Whose labels come first.
_FIRST = (EXPOSED, CYCLING, SUSTAINED, HARDENING)
_DAY_STEPS = (1, 2, 7, 14)
_MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240)


@dataclass(frozen=True)
class Label:
    """A text in a lane (0 is next to the ribbon), and where it starts, has its middle or ends."""

    text: str
    x: float
    anchor: str
    lane: int


@dataclass(frozen=True)
class Bar:
    """A stretch: what was achieved is filled, ``planned`` (its width, or None) is outlined."""

    segment: Segment
    x: float
    width: float
    planned: float | None
    label: Label | None = None


@dataclass(frozen=True)
class Instant:
    """Something at one moment: its kind, full words, and its label where there is room."""

    kind: str
    at: datetime
    x: float
    words: str
    label: Label | None


@dataclass(frozen=True)
class Mark:
    """A record, a picture or an open question below the ribbon; ``x`` once it is laid out."""

    kind: str
    at: datetime
    words: str
    x: float = 0.0


@dataclass(frozen=True)
class Drawing:
    """All that is drawn of a life.

    Attributes:
        bars, ticks, marks: in order of time.
        dates: where a date stands below the ribbon, and its words.
        now: where the present lies, None where the life has ended.
        since, until: the ends of the drawing.
    """

    bars: tuple[Bar, ...]
    ticks: tuple[Instant, ...]
    marks: tuple[Mark, ...]
    dates: tuple[tuple[float, str], ...]
    now: float | None
    since: datetime
    until: datetime


class _Lanes:
    """Places labels one after the other, each in the first lane where it overlaps no other."""

    def __init__(self, count: int) -> None:
        self._taken: list[list[tuple[float, float]]] = [[] for _ in range(count)]

    def place(self, text: str, x: float) -> Label | None:
        """The label at x, turned inward at the ends; None where every lane is taken."""
        length = _LETTER * len(text)
        anchor, low = "middle", x - length / 2
        if low < 0.0:
            anchor, low, x = "start", 0.0, 0.0
        elif low + length > WIDTH:
            anchor, low, x = "end", WIDTH - length, WIDTH
        for lane, taken in enumerate(self._taken):
            if all(low + length + _SPACE <= a or low >= b + _SPACE for a, b in taken):
                taken.append((low, low + length))
                return Label(text, round(x, 1), anchor, lane)
        return None


@dataclass(frozen=True)
class _Scale:
    since: datetime
    until: datetime

    def x(self, at: datetime) -> float:
        span = (self.until - self.since).total_seconds() or 1.0
        return round(WIDTH * (at - self.since).total_seconds() / span, 1)


def drawing_of(ribbon: Ribbon, marks: Sequence[Mark], zone: tzinfo, *, has_ended: bool) -> Drawing:
    """Lays a ribbon out.

    What goes on and is planned to last is outlined to its planned end, so that the drawing may
    reach beyond the present.

    Args:
        ribbon: of a life.
        marks: in any order.
        zone: whose midnights the dates below stand for.
        has_ended: whether the life is over; else the present is drawn.
    """
    ahead = [s.planned_until for s in ribbon.segments if s.goes_on and s.planned_until]
    instants = [ribbon.since, ribbon.until, *ahead, *(mark.at for mark in marks)]
    # With clocks that are off, an event may lie before the origin or in the future.
    instants += [tick.at for tick in ribbon.ticks]
    instants += [at for segment in ribbon.segments for at in (segment.since, segment.until)]
    scale = _Scale(min(instants), max(instants))
    above = _Lanes(_LANES_ABOVE)
    ticks = []
    for tick in ribbon.ticks:
        x, text = scale.x(tick.at), f"{tick.kind} {tick.at.astimezone(zone):%Y-%m-%d}"
        ticks.append(Instant(tick.kind, tick.at, x, tick.words, above.place(text, x)))
    return Drawing(
        bars=_bars(ribbon.segments, scale),
        ticks=tuple(ticks),
        marks=tuple(
            replace(mark, x=scale.x(mark.at)) for mark in sorted(marks, key=lambda one: one.at)
        ),
        dates=tuple((scale.x(at), words) for at, words in _dates(scale, zone)),
        now=None if has_ended else scale.x(ribbon.until),
        since=scale.since,
        until=scale.until,
    )


def _bars(segments: Sequence[Segment], scale: _Scale) -> tuple[Bar, ...]:
    """The stretches; where there is no room for every label, what was done to the specimen comes
    before what it waited for, and the longer before the shorter."""
    bars = []
    for one in segments:
        start = scale.x(one.since)
        planned = min(scale.x(one.planned_until), WIDTH) - start if one.planned_until else None
        bars.append(Bar(one, start, max(1.0, scale.x(one.until) - start), planned))
    below = _Lanes(_LANES_BELOW)
    labels: dict[int, Label | None] = {}
    for place in sorted(range(len(bars)), key=lambda k: (_rank(bars[k]), -bars[k].width)):
        bar = bars[place]
        labels[place] = below.place(bar.segment.short, bar.x + bar.width / 2)
    return tuple(replace(bar, label=labels[place]) for place, bar in enumerate(bars))


def _rank(bar: Bar) -> int:
    kind = bar.segment.kind
    return _FIRST.index(kind) if kind in _FIRST else len(_FIRST)


def _dates(scale: _Scale, zone: tzinfo) -> Iterator[tuple[datetime, str]]:
    """Midnights within the drawing, few enough to be read: of days, of first days of months."""
    first = scale.since.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    days = (scale.until - scale.since).total_seconds() / 86400.0
    step = next((step for step in _DAY_STEPS if days / step <= _MOST_DATES), None)
    if step is not None:
        for number in range(int(days / step) + 2):
            at = first + timedelta(days=number * step)
            if scale.since <= at <= scale.until:
                yield at, f"{at:%d %b}"
        return
    months = next(
        s for s in _MONTH_STEPS if days / 30.4 / s <= _MOST_DATES or s == _MONTH_STEPS[-1]
    )
    month = first.year * 12 + (first.month - 1) // months * months
    at = first
    while at <= scale.until:
        at = first.replace(year=month // 12, month=month % 12 + 1, day=1)
        if scale.since <= at <= scale.until:
            yield at, f"{at:%b %Y}" if months < 12 else f"{at:%Y}"
        month += months
