"""The list of specimens as people ask for it: 2 workers of gunicorn, 4 clients, one machine."""

from __future__ import annotations

from typing import Any

from tests.bench.harness import Bench, Goal, child
from tests.bench.made.databases import database, databases
from tests.bench.made.home import laboratory_home

NAMES = {"list": "the page of 100 specimens", "api": "100 specimens by the API"}
SECONDS = 4.0
PROFILE = """The page is the real one: session, sign-in, CSRF, policy and unit system, 11
questions and 93 kB of HTML; the trivial view is Django's least, without middleware. A profile of
the page gave, roughly: the template of 100 rows with ten cells half of the time, reading the rows
with cell, series and state a quarter, counting the stages of all specimens a tenth. The goal was
set for a view that only reads 100 rows and joins their text."""


def _state(bench: Bench, name: str, told: dict[str, Any]) -> None:
    trivial = told["trivial"]
    for job, words in NAMES.items():
        found = told[job]
        bench.row(
            f"web-{job}-{name.lower()}",
            f"Rate of {words} over that of a trivial view ({name}, gunicorn: 2 workers, 4 clients)",
            figure=max(found["rates"]) / max(trivial["rates"]), goal=Goal("D2", 0.08, False),
            facts={
                "answers a second": ", ".join(f"{rate:.0f}" for rate in found["rates"]),
                "of the trivial view": ", ".join(f"{rate:.0f}" for rate in trivial["rates"]),
                "95th percentile": f"{found['p95'] * 1e3:.0f} ms; "
                f"of the trivial view {trivial['p95'] * 1e3:.1f} ms",
            },
            claims={f"every answer is 200 ({name}, {job})": found["is_well"]},
            remark=PROFILE,
        )  # fmt: skip


def main() -> None:
    """Two rows for each database."""
    bench = Bench("web_list", versions=("django", "gunicorn"), repeats=4)
    seconds = SECONDS if bench.repeats > 1 else 0.3
    for name in databases():
        with database(name) as address, laboratory_home(address):
            said = child("tests.bench.made.list_served", str(seconds), str(bench.repeats)).said
        _state(bench, name, said)
    bench.end()


if __name__ == "__main__":
    main()
