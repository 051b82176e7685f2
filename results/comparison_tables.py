"""The tables of a comparison, live or released, from what the API says of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

Table = dict[str, Any]
IMPORTED_FOOT = " Imported numbers are as reported, with no raw record behind them."
ONE_SPECIMEN = "no interval"
UNBOUNDED = "unbounded"
_TEXT = {"kind": "text"}


def _value(quantity: Mapping[str, Any] | None, bound: str | None = None) -> Any:
    if quantity is None:
        return None
    return {"value": quantity["value"], "bound": bound or ""} if bound else quantity["value"]


def metric_said(data: Mapping[str, Any]) -> str:
    """A metric with method and load cycle, in words."""
    method = f" ({data['method']})" if data["method"] else ""
    at = f" at load cycle {data['at']}" if data["at"] is not None else ""
    return f"{data['metric'].replace('_', ' ')}{method}{at}"


def _counts_imported(groups: Iterable[Mapping[str, Any] | None]) -> bool:
    """Whether any group counts imported numbers; what was released before they existed has none."""
    return any(group.get("imported") for group in groups if group is not None)


def cells_table(data: Mapping[str, Any]) -> Table:
    """The levels of each cell of a comparison."""
    factors = data["factors"]
    return {
        "caption": "Cells and their levels.",
        "columns": [{"label": "Cell", **_TEXT}, *({"label": name, **_TEXT} for name in factors)],
        "rows": [
            [group["cell"], *(group["levels"].get(name, "") for name in factors)]
            for group in data["groups"]
        ],
    }


def comparison_table(data: Mapping[str, Any], *, with_levels: bool = True) -> Table:
    """Mean, scatter and gain by cell.

    Args:
        data: a comparison as the API gives it.
        with_levels: a column for each factor, too.
    """
    unit, groups = data["unit"] or "1", data["groups"]
    factors = data["factors"] if with_levels else []
    has_imported = _counts_imported((*groups, *(group["control"] for group in groups)))
    more = [{"label": "of them imported", "digits": 6}] if has_imported else []
    control_more = [{"label": "Control: imported", "digits": 6}] if has_imported else []
    return {
        "caption": f"{metric_said(data).capitalize()} by cell, against the {data['control']}; "
        f"{data['include']}.{IMPORTED_FOOT if has_imported else ''}",
        "columns": [
            {"label": "Cell", **_TEXT},
            *({"label": name, **_TEXT} for name in factors),
            {"label": "n", "digits": 6},
            *more,
            {"label": "Mean", "unit": unit},
            {"label": "s", "unit": unit},
            {"label": "Age of concrete", "unit": "d", "digits": 3},
            {"label": "Control", **_TEXT},
            {"label": "Control n", "digits": 6},
            *control_more,
            {"label": "Control mean", "unit": unit},
            {"label": "Control age", "unit": "d", "digits": 3},
            {"label": "Gain", "unit": "%", "digits": 3},
            {"label": "Ends", **_TEXT},
        ],
        "rows": [_comparison_row(group, factors, has_imported) for group in groups],
    }


def specimens_table(data: Mapping[str, Any]) -> Table:
    """Every value behind a comparison with its standard uncertainty, a row for each."""
    unit = data["unit"] or "1"
    return {
        "caption": f"{metric_said(data).capitalize()} of each specimen; {data['include']}. u is "
        "the standard uncertainty of the measurement, not the scatter between specimens.",
        "columns": [
            {"label": "Cell", **_TEXT},
            {"label": "Specimen", **_TEXT},
            {"label": "Value", "unit": unit},
            {"label": "Origin", **_TEXT},
            {"label": "Id of the number", **_TEXT},
        ],
        "rows": [
            [group["cell"], one["specimen"], _with_u(one), one["origin"], one["metric"] or "none"]
            for group in data["groups"]
            for one in group["values"]
        ],
    }


def _with_u(one: Mapping[str, Any]) -> dict[str, Any]:
    return {"value": one["value"], "u": one.get("u"), "bound": one["bound"] or ""}


def _comparison_row(
    group: Mapping[str, Any], factors: Sequence[str], has_imported: bool
) -> list[Any]:
    control, gain = group["control"], group["gain"]
    percent = None if gain is None else {"value": 100.0 * gain, "bound": group["gain_bound"] or ""}
    bound = group["bound"] if group["bound"] in ("lower", "upper") else None
    return [
        group["cell"],
        *(group["levels"].get(name, "") for name in factors),
        group["n"],
        *([group.get("imported", 0)] if has_imported else []),
        _value(group["mean"], bound),
        _value(group["s"]),
        _value(group["age_of_concrete"]),
        control["cell"] or "none",
        control["n"] if control["cell"] else None,
        *([control.get("imported", 0) if control["cell"] else None] if has_imported else []),
        _value(control["mean"]),
        _value(control["age_of_concrete"]),
        percent,
        "; ".join(f"{count} {end}" for end, count in sorted(group["ends"].items())) or "none",
    ]


def _side(group: Mapping[str, Any] | None, has_imported: bool) -> list[Any]:
    if group is None:
        return ["none", *([None] * (4 if has_imported else 3))]
    return [
        group["cell"],
        group["n"],
        *([group.get("imported", 0)] if has_imported else []),
        _value(group["mean"], group["bound"] if group["bound"] in ("lower", "upper") else None),
        _value(group["age_of_concrete"]),
    ]


def _ratio(retained: Mapping[str, Any]) -> list[Any]:
    interval = retained["interval"]
    if interval is None:
        ends: list[Any] = [ONE_SPECIMEN if retained["value"] is not None else None] * 2
    elif interval["is_unbounded"]:
        ends = [UNBOUNDED] * 2
    else:
        ends = [interval["low"], interval["high"]]
    value = retained["value"]
    shown = None if value is None else {"value": value, "bound": retained["bound"] or ""}
    return [shown, retained["standard_error"], *ends]


def _ratio_columns() -> list[dict[str, Any]]:
    return [
        {"label": "Retention", "unit": "1", "digits": 3},
        {"label": "Standard error", "unit": "1", "digits": 2},
        {"label": "95 % from", "unit": "1", "digits": 3},
        {"label": "95 % to", "unit": "1", "digits": 3},
    ]


def _side_columns(label: str, unit: str, has_imported: bool) -> list[dict[str, Any]]:
    return [
        {"label": label, **_TEXT},
        {"label": "n", "digits": 6},
        *([{"label": "of them imported", "digits": 6}] if has_imported else []),
        {"label": "Mean", "unit": unit},
        {"label": "Age", "unit": "d", "digits": 3},
    ]


def member_table(data: Mapping[str, Any]) -> Table:
    """Member retention by cell: exposed over laboratory."""
    unit = data["unit"] or "1"
    roles = ("strengthened_exposed", "strengthened_laboratory")
    some = _counts_imported(cell["groups"][role] for cell in data["cells"] for role in roles)
    rows = []
    for cell in data["cells"]:
        groups = cell["groups"]
        rows.append(
            [
                *_side(groups["strengthened_exposed"], some),
                *_side(groups["strengthened_laboratory"], some),
                *_ratio(cell["member_retention"]),
            ]
        )
    return {
        "caption": f"Member retention of {metric_said(data)}: exposed over its conditioning "
        f"control, both strengthened.{IMPORTED_FOOT if some else ''}",
        "columns": [
            *_side_columns("Exposed", unit, some),
            *_side_columns("Conditioning control", unit, some),
            *_ratio_columns(),
        ],
        "rows": rows,
    }


def contribution_table(data: Mapping[str, Any]) -> Table:
    """Contribution retention by cell: what is left of what the strengthening adds."""
    unit = data["unit"] or "1"
    some = _counts_imported(one for cell in data["cells"] for one in cell["groups"].values())
    rows = []
    for cell in data["cells"]:
        groups = cell["groups"]
        rows.append(
            [
                cell["cell"],
                *_side(groups["unstrengthened_exposed"], some),
                *_side(groups["unstrengthened_laboratory"], some),
                *_ratio(cell["contribution_retention"]),
            ]
        )
    return {
        "caption": f"Contribution retention of {metric_said(data)}: what the strengthening adds "
        f"to its unstrengthened twin, exposed over laboratory.{IMPORTED_FOOT if some else ''}",
        "columns": [
            {"label": "Exposed", **_TEXT},
            *_side_columns("Exposed twin", unit, some),
            *_side_columns("Laboratory twin", unit, some),
            *_ratio_columns(),
        ],
        "rows": rows,
    }


def retention_notes(data: Mapping[str, Any]) -> list[dict[str, str]]:
    """The sentences beside the two retentions, {cell, kind, words} each, none twice a cell."""
    found: dict[tuple[str, str], list[str]] = {}
    for cell in data["cells"]:
        for kind in ("member", "contribution"):
            for words in cell[f"{kind}_retention"]["notes"]:
                found.setdefault((cell["cell"], words), []).append(kind)
    return [
        {"cell": cell, "kind": " and ".join(kinds), "words": words}
        for (cell, words), kinds in found.items()
    ]


def modes_table(modes: Sequence[Mapping[str, Any]]) -> Table:
    """Failure modes by cell with their scheme, letter and words."""
    return {
        "caption": "Failure modes by cell, as named at the test.",
        "columns": [
            {"label": "Cell", **_TEXT},
            {"label": "Scheme", **_TEXT},
            {"label": "Letter", **_TEXT},
            {"label": "Mode", **_TEXT},
            {"label": "End", **_TEXT},
            {"label": "Tests", "digits": 6},
            {"label": "Specimens", "digits": 6},
        ],
        "rows": [
            [
                m["cell"],
                m["scheme"],
                m["letter"] or "none",
                m["words"],
                m["end"],
                m["tests"],
                m["specimens"],
            ]
            for m in modes
        ],
    }


def retention_context(data: Mapping[str, Any]) -> dict[str, Any]:
    """What ``results/retention.html`` shows, live or released."""
    return {
        "data": data,
        "member": member_table(data),
        "contribution": contribution_table(data),
        "modes": modes_table(data["failure_modes"]),
        "notes": retention_notes(data),
    }
