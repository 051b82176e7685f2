"""The usual cautions, one line for each kind of work that stores energy or harms.

Common practice of structural laboratories; the laboratory's own rules and checklist come first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from labmatrix.kernel.errors import ShapeError

NO_STOP = "Nothing on this page stops a machine: that is the red button on the rig."


@dataclass(frozen=True)
class Caution:
    """What to say: the hazard in a word or two, the line, and whether a machine is involved."""

    hazard: str
    line: str
    machine: bool


_CAUTIONS: Mapping[str, Caution] = MappingProxyType(
    {
        "test-to-failure": Caution(
            "Stored energy",
            "a member under test can drop or throw fragments. Load and displacement trips set and "
            "witnessed, catch blocks or chains in place, zone clear; approach only at a hold load "
            "that the checklist allows.",
            True,
        ),
        "cycling": Caution(
            "Moving rig",
            "a cycling rig can pinch, walk and fail without warning. Trips set, guards closed, "
            "nobody inside the zone while it runs, unattended running signed for.",
            True,
        ),
        "sustained": Caution(
            "Held load",
            "a sustained frame keeps its energy for years. Stay out of the line of rods and "
            "springs, keep to the written order of tensioning and de-tensioning.",
            True,
        ),
        "dust": Caution(
            "Silica dust",
            "cut, grind and core wet or with extraction; fitted mask, eyes and ears covered; no "
            "dry sweeping.",
            False,
        ),
        "wet-cement": Caution(
            "Wet cement",
            "burns skin and eyes, slowly and without pain at first. Gloves and glasses on, wash at "
            "once with water.",
            False,
        ),
        "salt-fog": Caution(
            "Salt fog",
            "let the chamber purge before opening; glasses on; wet floors near electrics.",
            False,
        ),
        "lifting": Caution(
            "Heavy lift",
            "rated and inspected slings, load weighed or calculated, nobody under or beside it, "
            "one person gives the signals.",
            True,
        ),
    }
)
KINDS = tuple(_CAUTIONS)


def caution_of(kind: str) -> Caution:
    """The caution for a kind of work.

    Raises:
        ShapeError: ``caution.unknown``.
    """
    if kind not in _CAUTIONS:
        raise ShapeError(
            "caution.unknown",
            f"The kind of work is {kind!r}; allowed is {', '.join(KINDS)}.",
            kind=kind,
        )
    return _CAUTIONS[kind]
