"""Events by the thousand through the API, beside the database alone and beside one by one."""

from __future__ import annotations

from typing import Any

from tests.bench.harness import Bench, Goal, Runs, child, scaled
from tests.bench.made.databases import database, databases
from tests.bench.made.events_sent import EACH
from tests.bench.made.home import empty_home

BATCH, SINGLES = 5_000 // EACH, 5  # specimens whose whole lives are sent at once, one by one
PROFILE = """The database alone gets rows that are ready, into a table like the product's own. The
API reads JSON, checks every payload by its schema, identity and permission, writes each event twice
(its row and its ledger entry, each looked at by the database's guards), chains the entries by
SHA-256, reads the specimens' events back and folds them into states. A profile of a batch of 5,000
gave, roughly: reading and checking a quarter, ledger and rows a third, reading back and folding a
third, the answers the rest. Mended: one statement a table (COPY on PostgreSQL) instead of sixty,
all specimens of a batch folded together with five questions instead of five each. What is left is
the work that was promised for each event."""


def _state(bench: Bench, name: str, told: dict[str, Any], batch: int, singles: int) -> None:
    runs = Runs({job: list(times) for job, times in told["seconds"].items()})
    events = batch * EACH
    seconds, bare = runs.best("batch") / events, runs.best("bare") / events
    single = runs.best("single") / (singles * EACH)
    claims = {
        f"every event was stored ({name})": told["other"] == 0 and told["kept"] == told["stored"],
        f"verify-ledger finds nothing ({name})": told["verified"],
        f"the states are what the events fold to ({name})": told["states_right"],
    }
    facts = {
        "events a second": f"{1 / seconds:,.0f} in batches of {events:,}, {1 / single:,.0f} one by "
        f"one, {1 / bare:,.0f} by the database alone",
    }
    bench.row(
        f"events-batch-{name.lower()}",
        f"Rate of events sent in batches of {events:,} over that of the database alone ({name})",
        figure=bare / seconds, goal=Goal("D3", 0.3, at_most=False), runs=runs, facts=facts,
        claims=claims, remark=PROFILE,
    )  # fmt: skip
    bench.row(
        f"events-single-{name.lower()}",
        f"Rate of events sent in batches of {events:,} over one by one ({name})",
        figure=single / seconds, goal=Goal("D3", 15.0, at_most=False), facts=facts,
        claims={f"all came in ({name})": told["other"] == 0}, remark=PROFILE,
    )  # fmt: skip


def main() -> None:
    """Two rows for each database."""
    bench = Bench("web_events", versions=("django", "gunicorn", "psycopg"), repeats=4)
    batch, singles = scaled(BATCH, 4), scaled(SINGLES, 1)
    needed = str((batch + singles) * (bench.repeats + 1))
    for name in databases():
        with database(name) as address, empty_home(address):
            child("tests.bench.made.laboratory", needed, "0")
            sent = (str(batch), str(singles), str(bench.repeats))
            said = child("tests.bench.made.events_sent", *sent).said
        _state(bench, name, said, batch, singles)
    bench.end()


if __name__ == "__main__":
    main()
