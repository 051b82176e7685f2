"""One number of any selection over its cells or over the age of the concrete, with intervals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from labmatrix.kernel.errors import ShapeError
from results.domain.comparison.groups import IMPORTED, Member, Sample
from results.domain.inference.mean import mean_interval
from results.domain.moved_numbers import whose
from results.marked_curve import axis
from results.models import Metric
from results.selectors.metric_choice import imported_pairs
from results.selectors.numbers import samples_of
from results.selectors.overlay import Figure, Looks
from results.selectors.overlay_choice import Selection
from results.selectors.samples import BY_LIFE
from specimens.models import Specimen

OVER = {"cell": "by cell", "age": "over the age of the concrete at the test"}
UNKNOWN = "over is {given!r}; allowed are {allowed}."
CAPTION = "{words} {over}, {whose}; each point one specimen, controls in ink.{mean}{imported}"
IMPORTED_DRAWN = " {count} of them imported: number as reported, no raw record behind it."
MEAN = " Bars are 95 % intervals of the mean; a cell with one specimen has none."
_TEXT = {"kind": "text"}


def overlay_metrics(selection: Selection) -> list[dict[str, str]]:
    """The numbers that the selection has, for a choice: {value: "name|method", words}."""
    pairs = set(
        Metric.objects.filter(selection.of_reduction("reduction__"))
        .order_by()
        .values_list("name", "method")
        .distinct()
    )
    pairs |= imported_pairs(list(selection.owners), pairs)
    named = sorted(pair for pair in pairs if pair[0] not in BY_LIFE)
    return [
        {
            "value": f"{name}|{method}",
            "words": f"{name.replace('_', ' ')}{f' ({method})' if method else ''}",
        }
        for name, method in named
    ]


def trend_figure(
    selection: Selection, looks: Looks, *, metric: str, method: str, over: str
) -> Figure:
    """The trend of one number.

    Args:
        selection: of specimens.
        looks: how they are drawn.
        metric, method: as in a comparison; by load cycle the last of each specimen counts.
        over: ``cell`` or ``age``.

    Raises:
        ShapeError: ``overlay.over``, or several methods where one must be named.
    """
    if over not in OVER:
        words = UNKNOWN.format(given=over[:40], allowed=", ".join(OVER))
        raise ShapeError("overlay.over", words, allowed=list(OVER))
    samples, unit, members = samples_of(selection.specimens, metric=metric, method=method)
    own = [s for s in selection.specimens if samples.get(s.code)]
    if over == "age":
        own = [s for s in own if members[s.code].concrete_age_d is not None]
    cells = list(dict.fromkeys(s.cell_id for s in own))
    values = {s.code: fmean(x.value for x in samples[s.code]) for s in own}
    places = {s.code: _place(s, members, cells, over) for s in own}
    told = {s.code: _told(s, samples[s.code]) for s in own}
    traces = _points(own, looks, values, places, told)
    bars = _means(own, cells, looks, values) if over == "cell" else []
    words = metric.replace("_", " ") + (f" ({method})" if method else "")
    caption = CAPTION.format(
        words=words.capitalize(),
        over=OVER[over],
        whose=whose(len(own), len(cells)),
        mean=MEAN if bars else "",
        imported=_imported_said(own, samples),
    )
    height = [0.0, *values.values(), *(end for bar in bars for end in _ends(bar))]
    layout = {
        "xaxis": _cell_axis(own, cells) if over == "cell" else _age_axis(places),
        "yaxis": axis(f"{words.capitalize()} ({unit or '1'})", height, zero=True),
    }
    payload = {"data": [*bars, *traces], "layout": layout, "kind": ""}
    return Figure("trend", caption, payload, _table(own, samples, members, values, unit), len(own))


def _imported_said(own: Sequence[Specimen], samples: Mapping[str, Sequence[Sample]]) -> str:
    count = sum(any(x.imported for x in samples[s.code]) for s in own)
    return IMPORTED_DRAWN.format(count=count) if count else ""


def _told(s: Specimen, samples: Sequence[Sample]) -> str:
    """What stands at a point: its specimen, and whether the number is imported."""
    return f"{s.code}, imported" if any(x.imported for x in samples) else s.code


def _place(s: Specimen, members: Mapping[str, Member], cells: Sequence[int], over: str) -> float:
    age = members[s.code].concrete_age_d
    return float(cells.index(s.cell_id) + 1) if over == "cell" else float(age or 0.0)


def _points(
    own: Sequence[Specimen],
    looks: Looks,
    values: Mapping[str, float],
    places: Mapping[str, float],
    told: Mapping[str, str],
) -> list[dict[str, Any]]:
    traces = []
    cells = list(dict.fromkeys(s.cell_id for s in own))
    for cell in cells:
        of_cell = [s for s in own if s.cell_id == cell]
        first = of_cell[0]
        traces.append(
            {
                "x": [places[s.code] for s in of_cell],
                "y": [values[s.code] for s in of_cell],
                "text": [told[s.code] for s in of_cell],
                "name": looks.names[first.code] if len(cells) > 1 else first.cell.code,
                "mode": "markers",
                "hovertemplate": "%{text}<br>%{y:.4~g}<extra></extra>",
                "meta": dict(looks.looks[first.code]),
            }
        )
    return traces


def _means(
    own: Sequence[Specimen], cells: Sequence[int], looks: Looks, values: Mapping[str, float]
) -> list[dict[str, Any]]:
    """Mean and interval of each cell with two specimens or more, beside its points."""
    found = []
    for place, cell in enumerate(cells, start=1):
        of_cell = [s for s in own if s.cell_id == cell]
        mean = mean_interval([values[s.code] for s in of_cell])
        if mean.half is None:
            continue
        found.append(
            {
                "x": [place + 0.2],
                "y": [mean.mean],
                "error_y": {"type": "data", "array": [mean.half]},
                "name": f"mean of {of_cell[0].cell.code}",
                "mode": "markers",
                "showlegend": False,
                "hovertemplate": f"mean of n = {mean.n}<br>%{{y:.4~g}}<extra></extra>",
                "meta": dict(looks.looks[of_cell[0].code]),
            }
        )
    return found


def _ends(bar: Mapping[str, Any]) -> tuple[float, float]:
    (mean,), (half,) = bar["y"], bar["error_y"]["array"]
    return mean - half, mean + half


def _age_axis(places: Mapping[str, float]) -> dict[str, Any]:
    return axis("Age of the concrete (d)", places.values())


def _cell_axis(own: Sequence[Specimen], cells: Sequence[int]) -> dict[str, Any]:
    names = {s.cell_id: s.cell.code for s in own}
    return {
        "title": {"text": "Cell"},
        "range": [0.5, len(cells) + 0.7],
        "tickvals": list(range(1, len(cells) + 1)),
        "ticktext": [names[c] for c in cells],
    }


def _table(
    own: Sequence[Specimen],
    samples: Mapping[str, Sequence[Sample]],
    members: Mapping[str, Member],
    values: Mapping[str, float],
    unit: str,
) -> dict[str, Any]:
    return {
        "caption": "The number of each specimen.",
        "columns": [
            {"label": "Specimen", **_TEXT},
            {"label": "Cell", **_TEXT},
            {"label": "Age of the concrete", "unit": "d", "digits": 4},
            {"label": "Value", "unit": unit or "1"},
            {"label": "Tests", "digits": 6},
            {"label": "Origin", **_TEXT},
        ],
        "rows": [
            [
                s.code,
                s.cell.code,
                members[s.code].concrete_age_d,
                {"value": values[s.code], "bound": _bound(samples[s.code])},
                len(samples[s.code]),
                IMPORTED if any(x.imported for x in samples[s.code]) else "reduced",
            ]
            for s in own
        ],
    }


def _bound(samples: Sequence[Sample]) -> str:
    bounds = {x.bound for x in samples}
    return bounds.pop() if len(bounds) == 1 else ""
