"""The work of answering what an assumed error would change; and what the ledger says of it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from typing import Any

from labmatrix import __version__
from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.registry import Finding, JobRun
from labmatrix.evidence.services.job_folder import JobFolder
from labmatrix.evidence.services.ledger import ledger_append
from labmatrix.kernel.canonical import canonical_json, content_key, sha256_text
from labmatrix.kernel.clock import now as clock_now
from labmatrix.kernel.errors import UserError
from results.domain.what_if_question import Question
from results.models import WhatIf, WhatIfAnswer, WhatIfNumber
from results.selectors.sensor_use import Use
from results.selectors.what_if import programme_codes, uses_of
from results.services.reduce import environment_hash
from results.services.what_if_answer import Redone, Row, answer_content, redo

# Reading and reducing take nearly all of the time; the rest compares.
_REDO_SHARE = 0.95
_BATCH = 500


class WhatIfHandler:
    """Computes the affected records again, one after the other, and writes the answer at the end.

    What is done of them is kept in the job's folder: a successor goes on behind it.
    """

    def run(self, run: JobRun) -> Callable[[], None]:
        """Compute outside any transaction; what is returned writes the answer."""
        what_if = WhatIf.objects.get(pk=run.payload["what_if"])
        question = Question.from_dict(what_if.question)
        every, uses = uses_of(what_if)
        done = _redone(run, question, uses)
        run.report(_REDO_SHARE, "comparing cells")
        content, rows = answer_content(question, every, uses, done)
        return lambda: _write(what_if, content, rows, now=clock_now())

    def refuse(self, payload: Mapping[str, Any], error: UserError) -> None:
        """Nothing was written; the job itself says why."""


def _redone(run: JobRun, question: Question, uses: list[Use]) -> dict[str, Redone]:
    keys = [use.key for use in uses]
    basis = f"{content_key([question.as_dict(), keys])} {__version__} {environment_hash()}"
    folder = JobFolder(run.job_id, basis)
    done: dict[str, Redone] = dict((folder.saved() or {}).get("done", {}))
    for place, use in enumerate(uses):
        if use.key in done:
            continue
        head = f"{use.specimen.code}, {place + 1} of {len(uses)}"

        def told(share: float, words: str, place: int = place, head: str = head) -> None:
            run.report(_REDO_SHARE * (place + share) / len(uses), f"{head}: {words}")

        told(0.0, "reading")
        part = JobFolder(run.job_id, f"{use.key} {basis}", part=use.key)
        done[use.key] = redo(use, question, told, part)
        folder.save({"done": done})
        part.clear()
    return done


def _write(what_if: WhatIf, content: Mapping[str, Any], rows: list[Row], *, now: datetime) -> None:
    text = canonical_json(content)
    answer = WhatIfAnswer(
        question=what_if,
        answered_at=now,
        said=content["said"],
        snapshot=text,
        sha256=sha256_text(text),
        software_version=__version__,
        environment=environment_hash(),
    )
    answer.entry = ledger_append(
        actor=what_if.asked_by,
        kind="what-if-answer",
        subject=json.loads(what_if.entry.content)["subject"],
        body=_answer_body(answer),
        now=now,
    )
    answer.save(force_insert=True)
    numbers = [_number(answer, place, row) for place, row in enumerate(rows)]
    WhatIfNumber.objects.bulk_create(numbers, batch_size=_BATCH)


def _number(answer: WhatIfAnswer, place: int, row: Row) -> WhatIfNumber:
    pair = row.pair
    return WhatIfNumber(
        answer=answer,
        place=place,
        metric=row.metric,
        specimen=pair.specimen,
        cell=pair.cell,
        series=pair.series,
        name=pair.name,
        method=pair.method,
        at=pair.at,
        unit=pair.unit,
        old_value=pair.old,
        old_bound=pair.old_bound,
        new_value=pair.new,
        new_bound=pair.new_bound,
        relative=pair.relative,
        moves=pair.moves,
    )


def _answer_body(answer: WhatIfAnswer) -> dict[str, Any]:
    return {"question": str(answer.question_id), "sha256": answer.sha256}


def _question_body(what_if: WhatIf) -> dict[str, Any]:
    return {
        "id": str(what_if.id),
        "question": what_if.question,
        "programmes": programme_codes(what_if),
        "why": what_if.why,
    }


def what_if_mirror() -> Iterator[Finding]:
    """Questions and answers that differ from their ledger entry, or whose row is gone."""
    for what_if in WhatIf.objects.select_related("entry").order_by("entry").iterator(100):
        if _differs(what_if.entry, _question_body(what_if)):
            words = "the question's row and the ledger's text differ"
            yield Finding(what_if.entry_id, f"what-if {what_if.id}", words)
    for answer in WhatIfAnswer.objects.select_related("entry").order_by("entry").iterator(20):
        where = f"answer to what-if {answer.question_id}"
        if _differs(answer.entry, _answer_body(answer)):
            yield Finding(answer.entry_id, where, "the answer's row and the ledger's text differ")
        if sha256_text(answer.snapshot) != answer.sha256:
            yield Finding(answer.entry_id, where, "the answer no longer gives its hash")
    for kind, field in (("what-if", "what_if"), ("what-if-answer", "what_if_answer")):
        gone = LedgerEntry.objects.filter(kind=kind, **{f"{field}__isnull": True}).order_by("seq")
        for entry in gone.iterator(100):
            yield Finding(entry.seq, kind, "the ledger holds it and its row is gone")


def _differs(entry: LedgerEntry, body: Mapping[str, Any]) -> bool:
    return canonical_json(json.loads(entry.content).get("body")) != canonical_json(body)
