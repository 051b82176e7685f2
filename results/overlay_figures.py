"""All figures of a selection, for page, API and files alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from labmatrix import __version__
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import ShapeError
from labmatrix.web.models import Person
from results.selectors.metric_choice import DEFAULT_METRIC
from results.selectors.overlay import (
    Figure,
    energy_figure,
    load_figure,
    looks_of,
    stiffness_figure,
)
from results.selectors.overlay_choice import (
    Choice,
    Selection,
    invented_of,
    selection_get,
)
from results.selectors.overlay_trend import trend_figure
from results.selectors.takeaway import INVENTED_SAID

SCALES = ("linear", "log")
SCALE = "cycles is {given!r}; allowed are linear and log."
PARTS = ("cell", "specimen", "record")


@dataclass(frozen=True)
class Overlay:
    """A selection with its figures by name; only those that have something to draw."""

    choice: Choice
    selection: Selection
    figures: Mapping[str, Figure]
    cycles: str
    metric: str
    over: str

    @property
    def query(self) -> str:
        """Of the address that shows the same to whoever may see it."""
        cycles = "" if self.cycles == "linear" else self.cycles
        metric = "" if self.metric == f"{DEFAULT_METRIC}|" else self.metric
        over = "" if self.over == "cell" else self.over
        return self.choice.query(cycles=cycles, metric=metric, over=over)


def overlay_asked(given: Any) -> tuple[Choice, dict[str, str]]:
    """The selection and what else an address asks for.

    Args:
        given: the query, a Django ``QueryDict``.

    Raises:
        ShapeError: ``overlay.scale``.
    """
    cells, specimens, records = (
        tuple(dict.fromkeys(value for value in given.getlist(name) if value)) for name in PARTS
    )
    cycles = given.get("cycles") or "linear"
    if cycles not in SCALES:
        raise ShapeError("overlay.scale", SCALE.format(given=cycles[:40]), allowed=list(SCALES))
    metric = given.get("metric") or f"{DEFAULT_METRIC}|"
    more = {"cycles": cycles, "metric": metric, "over": given.get("over") or "cell"}
    return Choice(cells, specimens, records), more


def overlay_get(*, actor: Person, choice: Choice, cycles: str, metric: str, over: str) -> Overlay:
    """The figures of a selection.

    Args:
        actor: who asks; all that is chosen must be theirs to see.
        choice: at least one cell, specimen or record.
        cycles: ``linear`` or ``log``.
        metric: ``name`` or ``name|method`` of the trend.
        over: ``cell`` or ``age``.

    Raises:
        NotFound: one of them is not theirs.
        ShapeError: a choice that makes no sense.
    """
    selection = selection_get(actor=actor, choice=choice)
    looks = looks_of(selection.specimens)
    name, _, method = metric.partition("|")
    is_log = cycles == "log"
    every = (
        load_figure(selection, looks),
        stiffness_figure(selection, looks, logarithmic=is_log),
        energy_figure(selection, looks, logarithmic=is_log),
        trend_figure(selection, looks, metric=name, method=method, over=over),
    )
    figures = {figure.name: figure for figure in every if figure.n}
    return Overlay(choice, selection, figures, cycles, metric, over)


def overlay_said(overlay: Overlay, figure: Figure, at: Any) -> list[str]:
    """Lines for the foot of a file: n, whose, when, what it is."""
    series = sorted({s.cell.series.code for s in overlay.selection.specimens})
    drawn = {t["meta"].get("specimen") for t in figure.payload["data"]}
    undrawn = [s.code for s in overlay.selection.specimens if s.code not in drawn]
    lines = [
        f"n = {figure.n} specimens of {', '.join(series)}.",
        f"Work in progress as of {iso(at)}, not a release.",
        f"Strongfloor {__version__}.",
    ]
    if undrawn and figure.name != "trend":
        lines.insert(1, f"Chosen, and nothing to draw yet: {', '.join(undrawn)}.")
    return [*lines, *([INVENTED_SAID] if invented_of(overlay.selection.specimens) else [])]
