"""What a workbook says twice."""

from __future__ import annotations

from results.domain.history.rows import History

SAME_ROW = "it says the same as row {row}; take one of them out, or give both their times of day."
SAME_SPECIMEN = "{code} is in row {row} already; each specimen has one row."
SAME_RESULT = "{name} of {code} is in row {row} already; give both their methods, or keep one."


def twins_said(history: History) -> None:
    """Note every row that repeats another: a specimen, an event, a result."""
    specimens: dict[str, int] = {}
    for one in history.specimens:
        before = specimens.setdefault(one.code, one.place.row)
        if before != one.place.row:
            words = SAME_SPECIMEN.format(code=one.code, row=before)
            history.say(one.place.at("specimen"), "history.twice", words)
    events: dict[str, int] = {}
    for event in history.events:
        before = events.setdefault(event.id, event.place.row)
        if before != event.place.row:
            history.say(event.place, "history.twice", SAME_ROW.format(row=before))
    results: dict[tuple[str, str, str, int | None], int] = {}
    for result in history.results:
        key = (result.specimen, result.name, result.method, result.at)
        before = results.setdefault(key, result.place.row)
        if before != result.place.row:
            words = SAME_RESULT.format(
                name=result.name.replace("_", " "), code=result.specimen, row=before
            )
            history.say(result.place, "history.twice", words)
