"""What a route does to a member before it is broken, as mechanics asks for it.

Settings of a stage that count here:

* ``pre-crack``: ``load_kn`` or ``moment_knm``;
* ``strengthen``: ``plies``, and ``load_kn`` or ``moment_knm`` where it is done under load;
* ``sustain``: ``load_kn``, ``share_of_control_ultimate`` or ``share_of_own_ultimate``;
* ``cycle``: ``cycles``, ``frequency_hz``, and ``minimum_kn`` with ``maximum_kn``, or
  ``minimum_share_…`` with ``maximum_share_…`` of control or own ultimate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from labmatrix.kernel.errors import ShapeError

Whose = Literal["own", "control"]
_WHOSE: tuple[Whose, ...] = ("control", "own")


@dataclass(frozen=True)
class Level:
    """A load of the actuator: in kN, or as a share of an ultimate load.

    Attributes:
        load_kn: None where a share is given.
        share: of the ultimate load, None where a load is given.
        whose: whose ultimate load.
    """

    load_kn: float | None
    share: float | None
    whose: Whose = "control"

    def kn(self, ultimates: Mapping[str, float]) -> float:
        """The load, kN.

        Args:
            ultimates: predicted ultimate load by whose it is, kN.
        """
        if self.load_kn is not None:
            return self.load_kn
        return (self.share or 0.0) * ultimates[self.whose]


@dataclass(frozen=True)
class CyclePlan:
    """Load cycles of a route.

    Attributes:
        cycles: planned number.
        frequency_hz: None where the route does not say.
        largest, least: of a cycle.
    """

    cycles: float
    frequency_hz: float | None
    largest: Level
    least: Level


@dataclass(frozen=True)
class Protocol:
    """What is done to a member before the break.

    Attributes:
        plies: put on.
        pre_crack_knm, pre_crack_kn: one of them or none.
        installed_knm, installed_kn: on the member while it is strengthened, one of them or none.
        sustained: None without.
        cycling: None without.
    """

    plies: int = 0
    pre_crack_knm: float | None = None
    pre_crack_kn: float | None = None
    installed_knm: float | None = None
    installed_kn: float | None = None
    sustained: Level | None = None
    cycling: CyclePlan | None = None


def _number(stage: Mapping[str, Any], name: str) -> float | None:
    value = stage.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ShapeError(
            "prediction.route",
            f"The route's stage {stage['stage']} has {name} as {value!r}; allowed is a number.",
            argument=name,
        )
    return float(value)


def _level(stage: Mapping[str, Any], which: str) -> Level | None:
    """``which`` is a prefix such as ``maximum_``, or nothing."""
    load = _number(stage, f"{which}kn" if which else "load_kn")
    if load is not None:
        return Level(load, None)
    for whose in _WHOSE:
        share = _number(stage, f"{which}share_of_{whose}_ultimate")
        if share is not None:
            return Level(None, share, whose)
    return None


def _cycling(stage: Mapping[str, Any]) -> CyclePlan | None:
    cycles = _number(stage, "cycles")
    largest, least = _level(stage, "maximum_"), _level(stage, "minimum_")
    if largest is None and least is None:
        return None
    if cycles is None or largest is None or least is None:
        raise ShapeError(
            "prediction.route",
            "The route's stage cycle names some of cycles, minimum and maximum; a prediction "
            "needs all three, or no loads at all.",
        )
    return CyclePlan(cycles, _number(stage, "frequency_hz"), largest, least)


def protocol_of(stages: Sequence[Mapping[str, Any]]) -> Protocol:
    """The protocol in a route's stages; a stage whose load is not said has no part in it.

    Args:
        stages: {"stage": kind, setting: value, …} in order.

    Raises:
        ShapeError: ``prediction.route`` for a setting that is no number, or plies without number.
    """
    found: dict[str, Any] = {}
    for stage in stages:
        kind = stage["stage"]
        if kind == "pre-crack":
            found["pre_crack_kn"] = _number(stage, "load_kn")
            found["pre_crack_knm"] = _number(stage, "moment_knm")
        elif kind == "strengthen":
            found["plies"] = _plies(stage)
            found["installed_kn"] = _number(stage, "load_kn")
            found["installed_knm"] = _number(stage, "moment_knm")
        elif kind == "sustain":
            found["sustained"] = _level(stage, "")
        elif kind == "cycle":
            found["cycling"] = _cycling(stage)
    return Protocol(**found)


def _plies(stage: Mapping[str, Any]) -> int:
    plies = _number(stage, "plies")
    if plies is None or plies < 0 or not plies.is_integer():
        raise ShapeError(
            "prediction.plies",
            f"The route's stage strengthen has plies as {stage.get('plies')!r}; allowed is a whole "
            "number from 0.",
        )
    return int(plies)
