"""What an amendment changes: two released snapshots compared number by number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from labmatrix.kernel.canonical import content_key

Fact = str | int | float | None
_CURVE = "curve of {specimen} in the figure {figure}"
CHANGED_CURVE = "redrawn from other points"
DRAWN = "drawn"


@dataclass(frozen=True)
class Change:
    """One thing that differs; None on one side where it is new or gone.

    Attributes:
        what: the thing, in words.
        before, after: as in the two versions.
        unit: of both, "1" for words and plain numbers.
    """

    what: str
    before: Fact
    after: Fact
    unit: str = "1"


def changes_between(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Change, ...]:
    """What differs between two snapshots, in the order of the later one; what is gone comes last.

    Args:
        before, after: contents of two versions of one series.
    """
    old, new = dict(_facts(before)), dict(_facts(after))
    names = [*new, *(name for name in old if name not in new)]
    found = []
    for name in names:
        (was, unit_before), (now, unit) = old.get(name, (None, "1")), new.get(name, (None, "1"))
        if was == now and (unit == unit_before or now is None):
            continue
        found.append(_change(name, was, now, unit if name in new else unit_before))
    return tuple(found)


def _change(name: str, was: Fact, now: Fact, unit: str) -> Change:
    if unit != "curve":
        return Change(name, was, now, unit)
    words = CHANGED_CURVE if was is not None else DRAWN
    return Change(name, None if was is None else DRAWN, None if now is None else words)


def _facts(content: Mapping[str, Any]) -> Iterator[tuple[str, tuple[Fact, str]]]:
    """Every released fact by its name in words, with its unit."""
    yield "specimens counted", (content["what"]["include"], "1")
    yield "imported numbers", (content["what"].get("imported"), "1")
    yield "control", (content["what"]["control"], "1")
    yield "software", (content["software"], "1")
    for result in content["results"]:
        comparison, label = result["comparison"], _label(result["comparison"])
        yield f"{label}: left out", (", ".join(comparison["left_out"]), "1")
        yield f"{label}: reductions", (", ".join(comparison["reductions"]), "1")
        for group in comparison["groups"]:
            yield from _group(label, group, comparison["unit"])
        for cell in result["retention"]["cells"]:
            yield from _retention(label, cell)
    for mode in content["failure_modes"]:
        words = " ".join(part for part in (mode["scheme"], mode["letter"], mode["words"]) if part)
        yield f"{mode['cell']}: tests ended by {words}, {mode['end']}", (mode["tests"], "1")
    for name, figure in content["figures"].items():
        for trace in figure["payload"]["data"]:
            what = _CURVE.format(specimen=trace["meta"]["specimen"], figure=name)
            yield what, (content_key([trace["x"], trace["y"]]), "curve")


def _label(comparison: Mapping[str, Any]) -> str:
    method = f" ({comparison['method']})" if comparison["method"] else ""
    at = f" at load cycle {comparison['at']}" if comparison["at"] is not None else ""
    return f"{comparison['metric'].replace('_', ' ')}{method}{at}"


def _group(label: str, group: Mapping[str, Any], unit: str) -> Iterator[tuple[str, Any]]:
    where = f"{group['cell']}, {label}"
    yield f"{where}: n", (group["n"], "1")
    yield f"{where}: of them imported", (group.get("imported", 0), "1")
    for name in ("mean", "s"):
        quantity = group[name]
        yield f"{where}: {name}", (quantity["value"] if quantity else None, unit)
    yield f"{where}: bound of the mean", (group["bound"], "1")
    yield f"{where}: gain", (group["gain"], "1")
    yield f"{where}: control", (group["control"]["cell"], "1")
    for end, count in group["ends"].items():
        yield f"{group['cell']}: specimens {end}", (count, "1")
    repeated: dict[str, int] = {}
    for sample in group["values"]:
        place = repeated[sample["specimen"]] = repeated.get(sample["specimen"], 0) + 1
        again = f" ({place})" if place > 1 else ""
        yield f"{sample['specimen']}{again}: {label}", (sample["value"], unit)
        yield f"{sample['specimen']}{again}, {label}: origin", (sample.get("origin"), "1")


def _retention(label: str, cell: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for kind in ("member", "contribution"):
        found = cell[f"{kind}_retention"]
        what = f"{cell['cell']}, {kind} retention of {label}"
        yield what, (found["value"], "1")
        yield f"{what}: standard error", (found["standard_error"], "1")
        interval = found["interval"] or {"low": None, "high": None}
        yield f"{what}: 95 % from", (interval["low"], "1")
        yield f"{what}: 95 % to", (interval["high"], "1")
