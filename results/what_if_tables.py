"""The answer to an assumed error as tables and a figure, for pages and files."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.urls import reverse

from results.domain.moved_numbers import counted, relative_change
from results.marked_curve import Payload, axis
from results.models import WhatIfNumber
from results.presenters import place_of, words_of
from results.selectors.what_if_conclusions import CONTRIBUTION, GAIN, MEAN, MEMBER, RATIO

CONVENTION = (
    "What it showed is taken as factor × true + offset, before the factor of its calibration; "
    "what was true is computed from it. Where it showed 1 % too much, the factor is 1.01 and a "
    "load alone is divided by 1.01, which is −0.99 %."
)
CHANGE = {"label": "Change", "unit": "%", "digits": 3}
Table = dict[str, Any]


def percent(share: float | None) -> float | None:
    """A share in per cent, rounded where only noise of the last digits is left."""
    return None if share is None else round(100.0 * share, 9) + 0.0


def kind_said(name: str, method: str) -> str:
    """A kind of number as a person says it."""
    return f"{words_of(name)}, {method}" if method else words_of(name)


def cells_table(content: Mapping[str, Any]) -> Table:
    """One row for each cell: how many of its numbers move, from which change to which."""
    return {
        "caption": "By cell: numbers that were computed again, and how far those that move go.",
        "columns": [
            {"label": "Series", "kind": "text"},
            {"label": "Cell", "kind": "text"},
            {"label": "Specimens that move", "digits": 6},
            {"label": "Numbers", "digits": 9},
            {"label": "Of them move", "digits": 9},
            {"label": "Smallest change", "unit": "%", "digits": 3},
            {"label": "Largest change", "unit": "%", "digits": 3},
        ],
        "rows": [
            [*_linked_cell(*c["name"]), *_spread_cells(c)]
            for c in sorted(content["cells"], key=lambda c: tuple(c["name"]))
        ],
    }


def _linked_cell(series: str, cell: str) -> list[Any]:
    url = reverse("matrix:cell-detail", args=[series, cell])
    return [series, {"value": cell, "url": url}]


def _spread_cells(spread: Mapping[str, Any]) -> list[Any]:
    return [
        spread["specimens"],
        spread["numbers"],
        spread["moved"],
        percent(spread["least"]),
        percent(spread["most"]),
    ]


def metrics_table(content: Mapping[str, Any]) -> Table:
    """One row for each kind of number."""
    return {
        "caption": "By kind of number.",
        "columns": [
            {"label": "Number", "kind": "text"},
            {"label": "Specimens that move", "digits": 6},
            {"label": "Numbers", "digits": 9},
            {"label": "Of them move", "digits": 9},
            {"label": "Smallest change", "unit": "%", "digits": 3},
            {"label": "Largest change", "unit": "%", "digits": 3},
        ],
        "rows": [
            [kind_said(*m["name"][:2]), *_spread_cells(m)]
            for m in sorted(content["metrics"], key=lambda m: place_of(m["name"][0]))
        ],
    }


def conclusion_tables(content: Mapping[str, Any], name: str, method: str) -> list[Table]:
    """What would be said otherwise of one kind of number, in up to three tables: means in its unit,
    gains and retentions in per cent, test to prediction as a ratio."""
    own = [c for c in content["conclusions"] if c["metric"] == name and c["method"] in (method, "")]
    if len({c["series"] for c in own}) > 1:
        own = [{**c, "cell": f"{c['series']}, {c['cell']}"} for c in own]
    means = [c for c in own if c["what"] == MEAN]
    shares = [c for c in own if c["what"] in (GAIN, MEMBER, CONTRIBUTION)]
    ratios = [c for c in own if c["what"] == RATIO]
    words = kind_said(name, method).capitalize()
    found = []
    if means:
        rows = [
            [c["cell"], *before_and_after(c), percent(relative_change(c["old"], c["new"]))]
            for c in means
        ]
        found.append(
            _before_after(f"{words}: means of cells that move.", means[0]["unit"], CHANGE, rows)
        )
    if shares:
        rows = [[c["cell"], c["what"], *before_and_after(c, 100.0), _points(c)] for c in shares]
        found.append(
            _before_after(
                f"{words}: gains and retentions that move.",
                "%",
                {"label": "Change in points", "unit": "%", "digits": 3},
                rows,
            )
        )
    if ratios:
        rows = [
            [c["cell"], *before_and_after(c), percent(relative_change(c["old"], c["new"]))]
            for c in ratios
        ]
        found.append(_before_after("Test to prediction, means that move.", "1", CHANGE, rows))
    return found


def _before_after(caption: str, unit: str, change: Table, rows: list[list[Any]]) -> Table:
    heads: list[Table] = [{"label": "Cell", "kind": "text"}]
    if rows and len(rows[0]) > 4:
        heads.append({"label": "What", "kind": "text"})
    given = {"unit": unit} if unit else {}
    before_after = [
        {"label": label, "digits": 4, **given} for label in ("As it stands", "As it would be")
    ]
    return {"caption": caption, "columns": [*heads, *before_after, change], "rows": rows}


def before_and_after(one: Mapping[str, Any], scale: float = 1.0) -> list[Any]:
    """Both values of a conclusion as cells."""
    return [_bounded(one[when], one[f"{when}_bound"], scale) for when in ("old", "new")]


def _points(one: Mapping[str, Any]) -> float | None:
    """A gain of 48 % that becomes 50 % has moved by two points, not by four per cent."""
    if one["old"] is None or one["new"] is None:
        return None
    return percent(one["new"] - one["old"])


def _bounded(value: float | None, bound: str, scale: float = 1.0) -> dict[str, Any] | None:
    return None if value is None else {"value": scale * value, "bound": bound}


def conclusions_said(content: Mapping[str, Any]) -> str:
    """How much of what is concluded would be another; empty where nothing was compared."""
    compared, moved = content["compared"], len(content["conclusions"])
    if not compared:
        return ""
    first = f"{counted(moved, 'conclusion')} of {compared} would be another"
    shares = [
        (abs(points), points, c)
        for c in content["conclusions"]
        if c["what"] in (GAIN, MEMBER, CONTRIBUTION)
        and (points := _points(c)) is not None
        and c["metric"] == "peak_load"
    ]
    if not shares:
        return f"{first} (means, gains, retentions, test to prediction)."
    _, points, most = max(shares, key=lambda one: one[0])
    by = f"{points:+.2f}".replace("-", "\u2212")
    return (
        f"{first} (means, gains, retentions, test to prediction). Of gains and retentions of the "
        f"peak load the {most['what']} of {most['cell']} moves most, by {by} points of per cent."
    )


def numbers_table(numbers: Iterable[WhatIfNumber], caption: str, unit: str) -> Table:
    """Numbers of one kind as they stand and as they would be, each leading to where it comes from.

    Args:
        numbers: of one kind.
        caption: says which.
        unit: of all of them.
    """
    rows = [
        [
            {"value": number.specimen, "url": reverse("results:life", args=[number.specimen])},
            number.cell,
            number.at,
            *old_and_new(number),
            percent(number.relative),
        ]
        for number in numbers
    ]
    given = {"unit": unit}
    columns: list[Table] = [
        {"label": "Specimen", "kind": "text"},
        {"label": "Cell", "kind": "text"},
        {"label": "Load cycle", "digits": 15},
        {"label": "As it stands", "digits": 5, **given},
        {"label": "As it would be", "digits": 5, **given},
        CHANGE,
    ]
    if all(row[2] is None for row in rows):
        columns.pop(2)
        rows = [[*row[:2], *row[3:]] for row in rows]
    return {"caption": caption, "columns": columns, "rows": rows}


def old_and_new(number: WhatIfNumber) -> list[Any]:
    """Both values of a number as cells; the one that stands leads to its page."""
    old = _bounded(number.old_value, number.old_bound)
    if old is not None and number.metric_id:
        old["url"] = reverse("results:metric", args=[number.metric_id])
    return [old, _bounded(number.new_value, number.new_bound)]


def kinds_of(content: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The kinds of number of an answer that move, alone or in a conclusion: {name, method, unit,
    words, value}; the peak load first, then as they come."""
    found = [(*m["name"],) for m in content["metrics"] if m["moved"]]
    names = {name for name, *_ in found}
    found += dict.fromkeys(
        (c["metric"], c["method"], c["unit"])
        for c in content["conclusions"]
        if c["metric"] not in names
    )
    found.sort(key=lambda kind: (kind[0] != "peak_load", place_of(kind[0]), kind[1]))
    return [
        {
            "name": name,
            "method": method,
            "unit": unit,
            "words": kind_said(name, method),
            "value": f"{name}|{method}" if method else name,
        }
        for name, method, unit in found
    ]


def largest_by_specimen(numbers: Iterable[WhatIfNumber]) -> list[WhatIfNumber]:
    """Of each specimen and kind of number the one that moves most; those without a change in per
    cent are left out."""
    largest: dict[tuple[str, str, str], WhatIfNumber] = {}
    for number in numbers:
        if number.relative is None:
            continue
        key = (number.specimen, number.name, number.method)
        before = largest.get(key)
        if before is None or abs(number.relative) > abs(before.relative or 0.0):
            largest[key] = number
    return list(largest.values())


def change_payload(numbers: Iterable[WhatIfNumber]) -> Payload:
    """Relative change of each kind of number, one point a specimen, a look for each cell."""
    drawn = list(numbers)
    drawn.sort(key=lambda n: (place_of(n.name), n.method))
    kinds = list(dict.fromkeys(kind_said(n.name, n.method) for n in drawn))
    traces: list[Table] = []
    for place, cell in enumerate(sorted({n.cell for n in drawn})):
        own = [n for n in drawn if n.cell == cell]
        traces.append(
            {
                "x": [percent(n.relative) for n in own],
                "y": [kind_said(n.name, n.method) for n in own],
                "text": [n.specimen for n in own],
                "mode": "markers",
                "name": cell,
                "hovertemplate": "%{text}, %{y}<br>%{x:.3~g} %<extra></extra>",
                "meta": {"level": place % 7},
            }
        )
    x = [0.0, *(value for trace in traces for value in trace["x"])]
    layout = {
        "xaxis": axis("Change (%)", x) | {"zeroline": True},
        "yaxis": {
            "title": {"text": ""},
            "type": "category",
            "categoryorder": "array",
            "categoryarray": kinds[::-1],
            "dtick": 1,
            "tickfont": {"size": 11},
        },
    }
    return {"data": traces, "layout": layout, "kind": ""}
