"""The answer to an assumed error as a file: every number in one table, in SI."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from labmatrix.kernel.clock import iso
from results.domain.moved_numbers import counted
from results.domain.what_if_question import Question, question_said
from results.models import WhatIf, WhatIfNumber
from results.selectors.takeaway import INVENTED_SAID
from results.what_if_tables import (
    CHANGE,
    CONVENTION,
    Table,
    before_and_after,
    cells_table,
    kind_said,
    metrics_table,
    old_and_new,
    percent,
)

# In a file numbers of all kinds stand in one table, each with its unit beside it.
_IN_ITS_UNIT = [
    {"label": "Unit", "kind": "text"},
    {"label": "As it stands [in its unit]", "kind": "text"},
    {"label": "As it would be [in its unit]", "kind": "text"},
]


def conclusions_listed(content: Mapping[str, Any]) -> Table:
    """Every conclusion that moves, in SI, for a file."""
    return {
        "caption": "What would be concluded otherwise, by cell, with the specimens that count in "
        "comparisons now. Gains and retentions are shares: 0.5 is 50 %.",
        "columns": [
            {"label": "Series", "kind": "text"},
            {"label": "Cell", "kind": "text"},
            {"label": "Of", "kind": "text"},
            {"label": "What", "kind": "text"},
            *_IN_ITS_UNIT,
        ],
        "rows": [
            [
                c["series"],
                c["cell"],
                kind_said(c["metric"], c["method"]),
                c["what"],
                c["unit"],
                *before_and_after(c),
            ]
            for c in content["conclusions"]
        ],
    }


def numbers_listed(numbers: Iterable[WhatIfNumber]) -> Table:
    """Every number that was computed again, in SI, for a file."""
    return {
        "caption": "Every number computed again, as it stands and as it would be.",
        "columns": [
            {"label": "Specimen", "kind": "text"},
            {"label": "Cell", "kind": "text"},
            {"label": "Series", "kind": "text"},
            {"label": "Number", "kind": "text"},
            {"label": "Load cycle", "digits": 15},
            *_IN_ITS_UNIT,
            CHANGE,
            {"label": "Id of the number as it stands", "kind": "text"},
        ],
        "rows": [
            [
                *(n.specimen, n.cell, n.series, kind_said(n.name, n.method), n.at, n.unit),
                *old_and_new(n),
                *(percent(n.relative), str(n.metric_id or "")),
            ]
            for n in numbers
        ],
    }


def answer_tables(what_if: WhatIf) -> dict[str, Table]:
    """All tables of an answer, by a short name, for a file."""
    content = what_if.answer.content
    numbers = what_if.answer.numbers.order_by("place")
    return {
        "cells": cells_table(content),
        "conclusions": conclusions_listed(content),
        "kinds": metrics_table(content),
        "numbers": numbers_listed(numbers.iterator(1000)),
    }


def origin_said(what_if: WhatIf) -> list[str]:
    """Lines for the foot of a file: the question, its answer, convention and origin."""
    answer = what_if.answer
    whole = answer.content["whole"]
    lines = [
        f"{question_said(Question.from_dict(what_if.question))} {answer.said}",
        CONVENTION,
        f"n = {counted(whole['specimens'], 'specimen')} of which numbers move. An assumption as of "
        f"{iso(answer.answered_at)}, not a result: nothing stored was changed.",
        f"Answer {answer.sha256}, Strongfloor {answer.software_version}.",
    ]
    invented = all(programme.is_invented for programme in what_if.programmes.all())
    return [*lines, *([INVENTED_SAID] if invented else [])]
