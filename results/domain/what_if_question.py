"""What is asked: an error of one or several sensors, from one day to another."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.assumed_error import AssumedError, check_error, error_said

SENSORS_MAX: Final = 50
NO_SENSOR: Final = "No sensor was named; name at least one, or a saved channel map with sensors."
TWICE: Final = "{sensor} is named twice; one error is allowed for each sensor."
TURNED: Final = "The period is {since} to {until}; its first day must not come after its last."


@dataclass(frozen=True)
class Question:
    """An assumption and when it held.

    Attributes:
        errors: one for each sensor, in the order of serials.
        since, until: days of tests, both counted; ``until`` is None for an error that goes on.
        zone: IANA name of the time zone in which a test has its day.
    """

    errors: tuple[AssumedError, ...]
    since: date
    until: date | None
    zone: str

    @property
    def sensors(self) -> tuple[str, ...]:
        """Serials, in order."""
        return tuple(error.sensor for error in self.errors)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready; equal for equal questions."""
        return {
            "errors": [error.as_dict() for error in self.errors],
            "since": self.since.isoformat(),
            "until": self.until.isoformat() if self.until else None,
            "zone": self.zone,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Question:
        """From what ``as_dict`` gave."""
        until = data["until"]
        return cls(
            tuple(AssumedError.from_dict(error) for error in data["errors"]),
            date.fromisoformat(data["since"]),
            None if until is None else date.fromisoformat(until),
            data["zone"],
        )


def check_question(
    errors: Sequence[AssumedError], since: date, until: date | None, zone: str
) -> Question:
    """The question, if it can be asked.

    Raises:
        ShapeError: ``what-if.no-sensor``, ``what-if.twice``, ``what-if.period``, and what
            ``check_error`` refuses.
        RangeError: too many sensors.
    """
    if not errors:
        raise ShapeError("what-if.no-sensor", NO_SENSOR)
    if len(errors) > SENSORS_MAX:
        raise RangeError("The number of sensors", len(errors), f"1 to {SENSORS_MAX}")
    ordered = tuple(sorted((check_error(error) for error in errors), key=lambda e: e.sensor))
    for one, following in itertools.pairwise(ordered):
        if one.sensor == following.sensor:
            words = TWICE.format(sensor=one.sensor)
            raise ShapeError("what-if.twice", words, sensor=one.sensor)
    if until is not None and since > until:
        words = TURNED.format(since=since.isoformat(), until=until.isoformat())
        raise ShapeError("what-if.period", words)
    return Question(ordered, since, until, zone)


def period_said(question: Question) -> str:
    """``from 2026-03-01 to 2026-04-30``, or ``from 2026-03-01 on``."""
    if question.until is None:
        return f"from {question.since.isoformat()} on"
    return f"from {question.since.isoformat()} to {question.until.isoformat()}"


def question_said(question: Question) -> str:
    """The question as a sentence: ``What if QL-1 showed 1 % too much from 2026-03-01 on?``"""
    said = [error_said(error) for error in question.errors]
    if len({(e.factor, e.offset, e.unit) for e in question.errors}) == 1 and len(said) > 1:
        first = question.errors[0]
        how = said[0].removeprefix(f"{first.sensor} ")
        said = [f"{', '.join(question.sensors)} {how} each"]
    return f"What if {' and '.join(said)} {period_said(question)}?"
