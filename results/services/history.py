"""Take in years of finished specimens: look at a workbook first, then all of it or nothing."""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any, BinaryIO

from labmatrix.evidence.models import Job
from labmatrix.evidence.registry import JobRun
from labmatrix.evidence.services.blob import blob_open, blob_put
from labmatrix.evidence.services.job import job_submit
from labmatrix.evidence.services.ledger import ledger_head, ledger_transaction
from labmatrix.kernel.clock import now as clock_now
from labmatrix.kernel.errors import RuleBroken, UserError
from labmatrix.kernel.text import check_seen
from labmatrix.matrix.models import Programme
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from labmatrix.web.selectors.laboratory import laboratory_get
from results.domain.history.book import book_read
from results.domain.history.rows import History, history_of
from results.domain.history.twins import twins_said
from results.models import HistoryImport
from results.services.history_beside import DIFFERS, NEW, THERE
from results.services.history_plan import HistoryPlan, Planner, Report
from results.services.history_write import history_write

JOB_KIND = "history"
ROWS_SHOWN = 200
NOT_CHECKED = "{filename} is {status}; only a file that was looked at and found sound is taken in."
Status = HistoryImport.Status


def _quiet(fraction: float, words: str) -> None:
    """No one is told how far it is."""


def history_receive(
    *,
    actor: Person,
    programme: Programme,
    filename: str,
    stream: BinaryIO,
    take: bool = False,
    now: datetime,
) -> HistoryImport:
    """Keep a workbook and ask for it to be looked at.

    Args:
        actor: a lead of the programme.
        programme: whose specimens they are.
        filename: its ending tells the kind.
        stream: seekable bytes.
        take: also take it in, if nothing is wrong with it.
        now: when.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: the file's name cannot be.
    """
    require(programme_role(actor, programme), Action.TAKE_HISTORY)
    name = check_seen(filename, argument="The file's name", at_most=160)
    blob = blob_put(stream=stream, now=now)
    with ledger_transaction():
        made = HistoryImport.objects.create(
            programme=programme,
            blob=blob,
            filename=name,
            asked_by=str(actor.id),
            asked_at=now,
            status=Status.TAKING if take else Status.CHECKING,
        )
        _ask(made, "take" if take else "check", now)
    return made


def history_take(*, actor: Person, source: HistoryImport, now: datetime) -> None:
    """Ask for a workbook that was found sound to be taken in; asking twice does it once.

    Raises:
        NotFound: the actor is not a lead of the programme.
        RuleBroken: ``history.not-checked``.
    """
    require(programme_role(actor, source.programme), Action.TAKE_HISTORY)
    with ledger_transaction():
        changed = HistoryImport.objects.filter(pk=source.pk, status=Status.CHECKED).update(
            status=Status.TAKING, asked_by=str(actor.id)
        )
        source.refresh_from_db()
        if changed:
            _ask(source, "take", now)
        elif source.status not in (Status.TAKING, Status.TAKEN):
            words = NOT_CHECKED.format(filename=source.filename, status=source.get_status_display())
            raise RuleBroken("history.not-checked", words)


def _ask(source: HistoryImport, step: str, now: datetime) -> None:
    source.job = job_submit(
        kind=JOB_KIND,
        key=f"history {step} {source.pk}",
        payload={"import": str(source.pk), "step": step},
        queue=Job.Queue.LONG,
        now=now,
    )
    source.save(update_fields=["job"])


def history_read(source: HistoryImport) -> History:
    """What the workbook says; no database but for the bytes.

    Raises:
        UserError: the file as a whole cannot be read.
    """
    with blob_open(source.blob) as stream:
        book = book_read(source.filename, stream.read())
    history = history_of(book, zone=laboratory_get().time_zone)
    twins_said(history)
    return history


def history_plan(*, source: HistoryImport, actor: Person, report: Report = _quiet) -> HistoryPlan:
    """What a workbook would add.

    Raises:
        HistoryRefused: row by row, everything that is wrong.
        UserError: the file as a whole cannot be read, or the actor may not.
    """
    report(0.05, f"reading {source.filename}")
    return _planned(source, actor, history_read(source), report)


def _planned(source: HistoryImport, actor: Person, history: History, report: Report) -> HistoryPlan:
    require(programme_role(actor, source.programme), Action.TAKE_HISTORY)
    return Planner(actor, source.programme, history).made(report)


def _summary(plan: HistoryPlan) -> dict[str, Any]:
    """Counts, and as many rows as a person reads of each kind; what differs comes first."""
    found = plan.summary()
    counts = Counter(row["what"] for row in found["rows"])
    shown = [
        row
        for what in (DIFFERS, NEW, THERE)
        for row in [one for one in found["rows"] if one["what"] == what][:ROWS_SHOWN]
    ]
    return {**found, "rows": shown, "row_counts": dict(counts)}


def _say(source: HistoryImport, status: str, **more: Any) -> None:
    HistoryImport.objects.filter(pk=source.pk).update(status=status, **more)


@contextmanager
def _many_made() -> Iterator[None]:
    """While hundreds of thousands of small things are made and all are kept, the search for
    cycles among them finds nothing and takes a fifth of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


class HistoryHandler:
    """Looks at a workbook, or takes it in."""

    def run(self, run: JobRun) -> Callable[[], None]:
        """Read and plan outside any transaction; what is returned writes."""
        with _many_made():
            return self._planned(run)

    def _planned(self, run: JobRun) -> Callable[[], None]:
        source = _source(run.payload)
        actor = Person.objects.get(pk=source.asked_by)
        run.report(0.05, f"reading {source.filename}")
        before = ledger_head()
        history = history_read(source)
        rows = len(history.specimens) + len(history.events) + len(history.results)
        run.report(0.2, f"{rows} rows are read")
        plan = _planned(source, actor, history, run.report)
        if run.payload["step"] == "check":
            return lambda: _say(source, Status.CHECKED, summary=_summary(plan), error=None)
        words = f"{len(plan.specimens)} specimens, {len(plan.events)} events, {len(plan.results)}"
        run.report(0.85, f"writing {words} numbers")
        return lambda: _take(source, actor, history, Planned(plan, before))

    def refuse(self, payload: Mapping[str, Any], error: UserError) -> None:
        """Nothing was written; the import says why, row by row."""
        _say(_source(payload), Status.REFUSED, error=error.as_dict())


def _source(payload: Mapping[str, Any]) -> HistoryImport:
    return HistoryImport.objects.select_related("programme", "blob").get(pk=payload["import"])


@dataclass(frozen=True)
class Planned:
    """What a workbook would add, and the end of the ledger before anything was looked at."""

    plan: HistoryPlan
    head: Mapping[str, Any]


def _take(source: HistoryImport, actor: Person, history: History, planned: Planned) -> None:
    """In the transaction that ends the job, so that nothing can have changed under the plan.

    Every change is an entry of the ledger: where its end has moved, all is planned once more.
    """
    now, plan = clock_now(), planned.plan
    require(programme_role(actor, source.programme), Action.TAKE_HISTORY)
    with _many_made():
        if ledger_head() != planned.head:
            plan = _planned(source, actor, history, _quiet)
        history_write(actor=actor, source=source, plan=plan, now=now)
    _say(source, Status.TAKEN, summary=_summary(plan), error=None, taken_at=now)
