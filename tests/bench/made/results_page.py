"""The last run of each row as a page to read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from statistics import median
from typing import Any

_HEAD = """# What was measured last

Written by `make bench` from `results.jsonl`, which keeps every run; do not edit. Jobs of a row run
in turn on the same machine; a ratio of times is best run over best run (the fairer one on a busy
machine), with that of the medians beside it. Only ratios carry over to another machine.
"""


def results_page(rows: Sequence[Mapping[str, Any]]) -> str:
    """The page, from rows as the harness keeps them."""
    last: dict[str, Mapping[str, Any]] = {}
    for row in sorted(rows, key=lambda row: str(row["at"])):
        last[row["row"]] = row
    ordered = sorted(last.values(), key=lambda row: (row["bench"], row["row"]))
    parts = [_HEAD, "\n".join(_overview(ordered)), *(_section(row) for row in ordered)]
    return "\n".join(parts).rstrip() + "\n"


def _overview(rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    yield "| row | figure | goal | |"
    yield "| --- | --- | --- | --- |"
    for row in rows:
        outcome = {None: "", True: "reached", False: "**missed**"}[row["reached"]]
        yield f"| {row['title']} | {_figure(row)} | {_goal(row)} | {outcome} |"
    yield ""


def _figure(row: Mapping[str, Any]) -> str:
    return f"{row['figure']:.4g} {row['unit']}"


def _goal(row: Mapping[str, Any]) -> str:
    goal = row["goal"]
    if goal is None:
        return ""
    return f"{goal['name']}: {'≤' if goal['at_most'] else '≥'} {goal['limit']:g}"


def _section(row: Mapping[str, Any]) -> str:
    here = row["machine"]
    versions = ", ".join(f"{name} {number}" for name, number in here["versions"].items())
    lines = [
        f"## {row['title']}",
        "",
        f"`{row['row']}` of `{row['bench']}`: {_figure(row)}; {_goal(row) or 'no goal'}. "
        f"{row['at'][:16].replace('T', ' ')} UTC, {here['cpu']}, {here['cores']} cores, "
        f"{here['memory_gib']:g} GiB, load {here['load']:g} before; Python {here['python']}, "
        f"{versions}.",
        "",
    ]
    if row["seconds"]:
        lines += ["| job | median s | best s | each run |", "| --- | --- | --- | --- |"]
        for job, times in row["seconds"].items():
            each = ", ".join(f"{s:.4g}" for s in times)
            lines.append(f"| {job} | {median(times):.4g} | {min(times):.4g} | {each} |")
        lines.append("")
    lines += [f"* {words}: {value}" for words, value in row["facts"].items()]
    lines += [f"* {'holds' if ok else '**DOES NOT HOLD**'}: {w}" for w, ok in row["claims"].items()]
    if row["remark"] and row["reached"] is False:
        lines += ["", row["remark"]]
    return "\n".join(lines).rstrip() + "\n"
