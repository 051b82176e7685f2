"""Where long work keeps what it has done so far, so that a successor goes on there.

One folder for each job, below ``PROGRESS_DIR``: files as the work likes, and one state that says
how far it is. The state appears whole or not at all. All of it follows from the work's inputs
alone, so that two workers who for a moment both believe that the job is theirs write the same.
"""

from __future__ import annotations

import json
import os
import shutil
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Protocol

from django.conf import settings

from labmatrix.evidence.models import Job

_STATE, _PASSING = "state.json", "passing-"
_DAY_S = 86_400.0


class WorkFolder(Protocol):
    """A folder for the files of some work."""

    @property
    def keeps(self) -> bool:
        """Whether a state that is saved can be of use."""
        ...

    @property
    def path(self) -> Path:
        """The folder; it exists."""
        ...

    def saved(self) -> dict[str, Any] | None:
        """The last state, None where there is none."""
        ...

    def save(self, state: Mapping[str, Any]) -> None:
        """Keep a JSON-ready state in place of the last one."""
        ...


class JobFolder:
    """The folder of a job, which outlives the worker.

    Args:
        job_id: the job.
        key: what the work depends on; a state of another key is of no use and not given back.
        part: name of a folder inside, for one of several pieces of work of the job.
    """

    keeps = True

    def __init__(self, job_id: uuid.UUID, key: str, part: str = "") -> None:
        self._key = key
        self._path = folder_of(job_id) / part

    @property
    def path(self) -> Path:
        """The folder; it exists."""
        self._path.mkdir(parents=True, exist_ok=True)
        return self._path

    def saved(self) -> dict[str, Any] | None:
        """The last state of this key."""
        try:
            kept = json.loads((self._path / _STATE).read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None
        if kept["key"] != self._key:
            return None
        state: dict[str, Any] = kept["state"]
        return state

    def save(self, state: Mapping[str, Any]) -> None:
        """Keep a state: written beside the last one, then put in its place."""
        beside = self.path / f"{_STATE}.{os.getpid()}"
        with beside.open("w", encoding="utf-8") as stream:
            json.dump({"key": self._key, "state": state}, stream)
            stream.flush()
            os.fsync(stream.fileno())
        beside.replace(self.path / _STATE)

    def clear(self) -> None:
        """Remove the folder with all that it holds."""
        shutil.rmtree(self._path, ignore_errors=True)


class PassingFolder:
    """A folder for work that nobody takes up again: it keeps no state.

    Args:
        path: an empty folder that its owner removes.
    """

    keeps = False

    def __init__(self, path: Path) -> None:
        self._path = path

    @property
    def path(self) -> Path:
        """The folder."""
        return self._path

    def saved(self) -> dict[str, Any] | None:
        """There is none."""
        return None

    def save(self, state: Mapping[str, Any]) -> None:
        """Nothing is kept."""


@contextmanager
def passing_folder() -> Iterator[PassingFolder]:
    """A folder that goes when the work is done."""
    Path(settings.PROGRESS_DIR).mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(prefix=_PASSING, dir=settings.PROGRESS_DIR) as path:
        yield PassingFolder(Path(path))


def folder_of(job_id: uuid.UUID) -> Path:
    """Where a job's files are, if it keeps any."""
    return Path(settings.PROGRESS_DIR) / str(job_id)


def job_folder_clear(job_id: uuid.UUID) -> None:
    """Remove what a job kept."""
    shutil.rmtree(folder_of(job_id), ignore_errors=True)


def job_folders_clear_ended(*, now: datetime) -> int:
    """Remove what jobs that have ended left behind, and passing folders a day old; how many.

    A worker that was killed, or that wrote once more after its lease had passed, leaves some.
    """
    root = Path(settings.PROGRESS_DIR)
    cleared = 0
    for path in sorted(root.iterdir()) if root.is_dir() else ():
        if path.name.startswith(_PASSING):
            ended = now.timestamp() - path.stat().st_mtime > _DAY_S
        else:
            ended = not Job.objects.filter(
                pk=path.name, state__in=(Job.State.WAITING, Job.State.RUNNING)
            ).exists()
        if ended:
            shutil.rmtree(path, ignore_errors=True)
            cleared += 1
    return cleared
