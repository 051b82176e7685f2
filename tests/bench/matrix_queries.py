"""The questions of the matrix in a laboratory after ten years, beside one SQL group-by."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import django

from tests.bench.harness import Bench, Goal, interleaved
from tests.bench.made.home import laboratory_home

A_PAGE_WITHIN = 1.0  # s, at full size
PROFILE = """Where the time goes (SQLite): taking each life out of what is kept of the fold and
reading it as JSON, half; the rows and their routes, the rest. The events themselves are not
asked: their meaning is kept beside each specimen when they come in."""


def _verified() -> bool:
    verify = import_module("labmatrix.evidence.services.ledger").ledger_verify
    return next(iter(verify()), None) is None


def main() -> None:
    """Rows of the matrix, the first page of the list, and whole pages."""
    bench = Bench("matrix_queries", versions=("django",), repeats=7)
    with laboratory_home() as made:
        django.setup()
        asked: Any = import_module("tests.bench.made.matrix_asked")
        jobs = {
            "plate": asked.whole_matrix, "raw": asked.raw_dates, "list": asked.first_page
        }  # fmt: skip
        runs = interleaved(jobs, repeats=bench.repeats, warm=True)
        specimens, events = made["specimens"], made["events"]
        words = f"{specimens:,} specimens, {events:,} events (SQLite)"
        bench.ratio(
            "matrix-query",
            f"{words}: the plate's question (results.selectors.plate_lives.members_of) for all, "
            "against a raw SQL group-by of the last date of 8 stages",
            runs, of="plate", to="raw", goal=Goal("D1", 3.0),
            facts={
                "made by the product's own services in": f"{made['seconds_planned']:.0f} s "
                f"(specimens) and {made['seconds_logged']:.0f} s (events)",
            },
            claims={
                "as many as were sent are stored": made["not_stored"] == 0
                and asked.events_kept() == events,
                "verify-ledger finds nothing": _verified(),
                "a sample of states is what their events fold to": asked.states_right(),
                "both say the same dates": asked.same_dates(
                    runs.values["raw"], runs.values["plate"]
                ),
                "one question for all": asked.questions(asked.whole_matrix) == 2,  # and the cells
            },
            remark=PROFILE,
        )  # fmt: skip
        bench.ratio(
            "list-query",
            f"{words}: first page of the list of specimens, ids first "
            "(specimen_list_ids, specimen_list_page), against the same group-by of all",
            runs, of="list", to="raw", goal=Goal("D1, first page", 3.0),
            claims={
                "a whole page": len(runs.values["list"]) == min(asked.ON_A_PAGE, specimens),
                "four questions for any number of rows": asked.questions(asked.first_page) == 4,
            },
        )  # fmt: skip
        _pages(bench, asked, words, specimens)
    bench.end()


def _pages(bench: Bench, asked: Any, words: str, specimens: int) -> None:
    jobs = asked.pages_asked(specimens)
    runs = interleaved(jobs, repeats=bench.repeats, warm=True)
    slowest = max(jobs, key=runs.best)
    bench.row(
        "matrix-pages",
        f"{words}: slowest whole page through Django with session and middleware",
        figure=runs.best(slowest), unit="s", goal=Goal("a page", A_PAGE_WITHIN), runs=runs,
        facts={
            "slowest": slowest,
            "asked for": ", ".join(f"{name}: {path}" for name, path in asked.PAGES.items()),
        },
        claims={
            "every page is there": all(status == 200 for status in runs.values.values()),
        },
    )  # fmt: skip


if __name__ == "__main__":
    main()
