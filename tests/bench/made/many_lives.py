"""Events of many invented specimens, as a device sends them: most lived to the end, some go on."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

FIRST_CAST = datetime(2016, 1, 11, 8, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
YEARS_OF_CASTING = 10
CHAMBER, RIG, FRAME = "CHAMBER-A", "RIG-1", "FRAME-1"
# The stages whose last date stands for a specimen in a table of the whole matrix.
STAGES = (
    *("cast", "demoulded", "prepared", "layer"),
    *("entered", "left", "cycling-started", "broken"),
)
_MORTAR = ("base mortar", "mortar")
Raw = dict[str, Any]


class _Diary:
    """The events of one specimen, in their order."""

    def __init__(self, code: str, at: datetime, draw: Random) -> None:
        self.code, self.at, self.draw = code, at, draw
        self.events: list[Raw] = []

    def log(self, kind: str, days: float = 0.0, /, **payload: Any) -> None:
        """One more event, so many days and some minutes after the one before."""
        self.at += timedelta(days=days, minutes=self.draw.uniform(2, 40))
        self.events.append(
            {
                "id": str(uuid.UUID(int=self.draw.getrandbits(128), version=4)),
                "subject": self.code,
                "kind": kind,
                "occurred_at": self.at.isoformat(),
                "payload": payload,
            }
        )

    def read(self, quantity: str, value: float, unit: str, days: float) -> None:
        """A reading by hand."""
        amount = {"value": round(value, 3), "unit": unit}
        self.log("read", days, quantity=quantity, value=amount)


def _made(diary: _Diary, plies: int) -> None:
    diary.log("cast", batch=f"B{diary.draw.randrange(400):03}")
    diary.log("demoulded", 2)
    diary.log("moved", to="curing room")
    diary.log("cured", method="wet burlap")
    if not plies:
        return
    diary.log("prepared", 28, method="sand blasting", profile=5, moisture="saturated surface-dry")
    diary.log("layer", kind="base mortar", lot="M-1")
    for ply in range(1, plies + 1):
        diary.log("layer", kind="fabric", ply=ply, lot="F-1")
        diary.log("layer", kind="mortar", lot="M-1")


def _conditioned(diary: _Diary, left: bool) -> None:
    position = str(diary.draw.randrange(1, 13))
    diary.log("entered", 28, machine=CHAMBER, position=position, run="R-1")
    for _ in range(6):
        diary.read("temperature", diary.draw.gauss(40, 1), "°C", 14)
    if left:
        diary.log("left", machine=CHAMBER, position=position)


def _cycled(diary: _Diary, room: int) -> None:
    force = {"minimum": {"value": 5, "unit": "kN"}, "maximum": {"value": 40, "unit": "kN"}}
    diary.log("cycling-started", 1, machine=RIG, frequency={"value": 4, "unit": "Hz"}, **force)
    for turn in range(1, room + 1):
        diary.log("counted", 0.5, cycles=turn * 170_000)
    diary.log("cycling-stopped", reason="the planned number is reached")


def life_of(code: str, number: int, share: float, events: int) -> list[Raw]:
    """The events of one specimen.

    Args:
        code: of the specimen.
        number: decides what differs between one specimen and the next.
        share: when it was cast, from 0 (ten years ago) to 1 (now).
        events: how many; more than its work needs are readings of its cracks.
    """
    draw = Random(number)
    days = share * YEARS_OF_CASTING * 365.25
    diary = _Diary(code, FIRST_CAST + timedelta(days=days), draw)
    plies = number % 5
    _made(diary, plies if plies != 3 else 0)
    is_exposed, is_cycled, is_ended = number % 3 == 0, number % 4 == 1, share < 0.95
    if is_exposed:
        _conditioned(diary, left=is_ended)
    if is_cycled and not is_exposed:
        _cycled(diary, 10)
    while len(diary.events) < events - is_ended:
        diary.read("crack-width", draw.uniform(0.02, 0.3), "mm", 1)
    if is_ended:
        seen = {"scheme": "Quayside", "letter": "A", "words": "debonding from the middle"}
        diary.log("broken", 2, end="broken", mode=seen)
    return diary.events
