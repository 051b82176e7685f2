"""The large laboratory in a home of its own; made once where several benches run in turn.

``STRONGFLOOR_BENCH_LABORATORY`` names a folder that keeps it from one bench to the next, as
``make bench`` does; without it a bench makes its own and takes it away at its end.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.bench.harness import child, scaled

KEPT_IN = "STRONGFLOOR_BENCH_LABORATORY"
SPECIMENS, EVENTS = 5_000, 200_000
_DONE = "made.json"


@contextmanager
def empty_home(database: str = "") -> Iterator[Path]:
    """An empty home for this process and its children, on SQLite unless a database is named."""
    with tempfile.TemporaryDirectory(prefix="strongfloor-bench-") as home:
        os.environ["DJANGO_SETTINGS_MODULE"] = "labmatrix.settings"
        os.environ["STRONGFLOOR_HOME"] = home
        os.environ.pop("STRONGFLOOR_DATABASE_URL", None)
        if database:
            os.environ["STRONGFLOOR_DATABASE_URL"] = database
        yield Path(home)


def laboratory_sizes() -> tuple[int, int]:
    """Specimens and events at the scale of this run."""
    specimens = scaled(SPECIMENS, 40)
    return specimens, specimens * (EVENTS // SPECIMENS)


def laboratory_made() -> dict[str, Any]:
    """Makes the laboratory in the home and the database of the environment; what was made."""
    specimens, events = laboratory_sizes()
    made: dict[str, Any] = child("tests.bench.made.laboratory", str(specimens), str(events)).said
    return made


@contextmanager
def laboratory_home(database: str = "") -> Iterator[dict[str, Any]]:
    """The laboratory in a copy that a bench may change; what was made of it.

    Args:
        database: address of an empty one; without it, or kept from an earlier bench, on SQLite.
    """
    with empty_home(database) as home:
        kept = None if database else os.environ.get(KEPT_IN)
        source = Path(kept) / "home" if kept else None
        if source is not None and (source / _DONE).exists():
            shutil.copytree(source, home, dirs_exist_ok=True)
            made = json.loads((home / _DONE).read_text(encoding="utf-8"))
        else:
            made = laboratory_made()
            (home / _DONE).write_text(json.dumps(made), encoding="utf-8")
            if source is not None:
                shutil.copytree(home, source, dirs_exist_ok=True)
        yield made
