"""A made record through the product's own path: from the blob store to the table of cycles.

What a reduction's job does between claiming its row and storing what came out; no database.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy.typing as npt

_HOME = tempfile.TemporaryDirectory(prefix="strongfloor-bench-")
os.environ["STRONGFLOOR_HOME"] = _HOME.name
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labmatrix.settings")

import django  # noqa: E402

django.setup()

from labmatrix.evidence.domain.channel_map import ChannelMap  # noqa: E402
from labmatrix.evidence.models import Blob  # noqa: E402
from labmatrix.evidence.services.blob import blob_storage  # noqa: E402
from labmatrix.evidence.services.job_folder import passing_folder  # noqa: E402
from results.services.cycle_table import table_read  # noqa: E402
from results.services.cyclic_record import cyclic_record  # noqa: E402
from tests.bench.made.long_record import CHANNEL_MAP  # noqa: E402

Table = dict[str, npt.NDArray[Any]]


def stored(path: Path) -> str:
    """A file put into the store by a link, so that nothing is copied; its name there."""
    name = hashlib.sha256(str(path).encode()).hexdigest()
    place = Path(blob_storage().path(Blob(sha256=name).path))
    place.parent.mkdir(parents=True, exist_ok=True)
    place.symlink_to(path)
    return name


def inputs_of(name: str) -> dict[str, Any]:
    """Inputs of a cyclic reduction of a stored file, as the pipeline gathers them."""
    return {
        "files": [{"name": "long.csv", "sha256": name}],
        "channel_map": ChannelMap.from_data(CHANNEL_MAP).canonical(),
        "specimen": {"subject": "QS-P0-LAB-01"},
        "cycle_offset": 0,
        "calibrations": [],
        "settings": {},
        "reduction": {"name": "cyclic", "version": "1"},
    }


@contextmanager
def reduced(name: str) -> Iterator[Callable[[], Table]]:
    """Reduces a stored file; gives a function that reads its full table of cycles."""
    with passing_folder() as folder:
        found = cyclic_record(inputs_of(name), lambda share, words: None, folder)
        yield lambda: table_read(found.table)
