"""A look at files and the map of their columns: what a person checks before it counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from labmatrix.evidence.models import Blob, Record
from labmatrix.evidence.reading.preview import Preview, preview
from labmatrix.evidence.services.blob import blob_open
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import RangeError, UserError
from labmatrix.kernel.units import DIMENSIONS
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.presenters import column_drawing, zero_text
from results.record_forms import COLUMNS_MAX, ChannelFormSet, WhyForm, channel_entries
from results.selectors.record import record_get
from results.selectors.record_page import sensor_list_serials, subject_is_invented
from results.services.record import channel_map_save, record_reduce_again

NOT_RIGHT = "Some fields are not right; each says why."
_UNITS = ("force", "length", "strain", "time", "temperature", "humidity", "number")
_PLACES = ("mid-span", "left support", "right support", "left quarter", "right quarter", "bar")


@dataclass(frozen=True)
class Look:
    """One file and what its beginning shows."""

    file: str
    seen: Preview


def look_at(files: Iterable[tuple[str, str]]) -> list[Look]:
    """A look at each file, (name, hash of its bytes).

    Raises:
        RangeError: more columns than the page maps.
        UserError: why a file cannot be read.
    """
    looks = []
    for name, sha256 in files:
        with blob_open(Blob(sha256=sha256)) as stream:
            looks.append(Look(name, preview(stream)))
    count = sum(len(look.seen.columns) for look in looks)
    if count > COLUMNS_MAX:
        raise RangeError(
            "The number of columns",
            count,
            f"up to {COLUMNS_MAX} on this page (a saved map or the API takes up to 1000)",
        )
    return looks


def guessed(looks: Sequence[Look]) -> list[dict[str, Any]]:
    """What each column probably is, for a form for each."""
    return [
        {
            "file": look.file,
            "column": guess.column,
            "quantity": guess.quantity or "",
            "unit": guess.unit or "",
            "sign": guess.sign,
            "place": guess.place or "",
        }
        for look in looks
        for guess in look.seen.guesses
    ]


def columns_of(looks: Sequence[Look]) -> dict[str, list[str]]:
    """Names of each file's columns, by file name."""
    return {look.file: [guess.column for guess in look.seen.guesses] for look in looks}


def mapped(looks: Sequence[Look], entries: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What the record's map says of each column; empty for a column that it leaves out."""
    initial = []
    for look in looks:
        for guess in look.seen.guesses:
            names = {"file": look.file, "column": guess.column}
            entry = next(
                (
                    e
                    for e in entries
                    if e["column"] == guess.column and e["file"] in (None, look.file)
                ),
                None,
            )
            initial.append({**names, "quantity": ""} if entry is None else _form_of(entry) | names)
    return initial


def _form_of(entry: Mapping[str, Any]) -> dict[str, Any]:
    zero = "first" if entry["zero"] == {"first": 1} else zero_text(entry["zero"])
    found = {name: value for name, value in entry.items() if value is not None}
    return found | {"zero": zero, "scale": f"{entry['scale']:.12g}"}


def belongs_to(formset: Any, looks: Sequence[Look]) -> bool:
    """Whether the forms that came are one for each column, in order."""
    columns = [(look.file, guess.column) for look in looks for guess in look.seen.guesses]
    told = [(form["file"].value(), form["column"].value()) for form in formset.forms]
    return told == columns


def preview_page(
    request: HttpRequest,
    looks: Sequence[Look],
    formset: Any,
    more: Mapping[str, Any],
    *,
    problem: str = "",
) -> HttpResponse:
    """The page of all columns with their forms."""
    forms = iter(formset)
    context = {
        "looks": [
            {
                "file": look.file,
                "seen": look.seen,
                "columns": [
                    {
                        "form": next(forms),
                        "look": column,
                        "guess": guess,
                        "drawing": column_drawing(column),
                    }
                    for column, guess in zip(look.seen.columns, look.seen.guesses, strict=True)
                ],
            }
            for look in looks
        ],
        "formset": formset,
        "problem": problem,
        "map_name": request.POST.get("map_name", ""),
        "filled_from": None,
        "units": [u for name in _UNITS for u in DIMENSIONS[name].allowed],
        "places": _PLACES,
        "sensors": sensor_list_serials(),
        **more,
    }
    return render(request, "results/record_preview.html", context, status=400 if problem else 200)


class RecordMap(View):
    """Another channel map for a record: the same look, with the map as it stands."""

    def get(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """The map as it stands, beside the columns of the files."""
        record = self._record(request, record_id)
        looks = _looks_of(record)
        formset = ChannelFormSet(prefix="c", initial=mapped(looks, record.channel_map["entries"]))
        return self._page(request, record, looks, (formset, WhyForm()))

    def post(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """Reduce the record again with the map that came."""
        record = self._record(request, record_id)
        why, formset = WhyForm(request.POST), ChannelFormSet(request.POST, prefix="c")
        problem = NOT_RIGHT
        if all([why.is_valid(), formset.is_valid()]):
            try:
                self._reduce(request, record, channel_entries(formset), why.cleaned_data["why"])
            except UserError as error:
                problem = error.message
            else:
                return redirect("results:record", record.id)
        looks = _looks_of(record)
        if not belongs_to(formset, looks):
            formset = ChannelFormSet(
                prefix="c", initial=mapped(looks, record.channel_map["entries"])
            )
        return self._page(request, record, looks, (formset, why), problem)

    def _record(self, request: HttpRequest, record_id: str) -> Record:
        return record_get(actor=actor_of(request), record_id=record_id, action=Action.ASK_REDUCTION)

    def _reduce(
        self, request: HttpRequest, record: Record, entries: list[dict[str, Any]], why: str
    ) -> None:
        actor, at = actor_of(request), now()
        channels: Any = entries
        if map_name := request.POST.get("map_name", "").strip():
            channels = channel_map_save(actor=actor, name=map_name, entries=entries, now=at).name
        record_reduce_again(actor=actor, record=record, why=why, channels=channels, now=at)

    def _page(
        self,
        request: HttpRequest,
        record: Record,
        looks: Sequence[Look],
        forms: tuple[Any, WhyForm],
        problem: str = "",
    ) -> HttpResponse:
        formset, why = forms
        more: dict[str, Any] = {"record": record, "why": why}
        if subject_is_invented(record.subject):
            more["invented_data_notice"] = True
        return preview_page(request, looks, formset, more, problem=problem)


def _looks_of(record: Record) -> list[Look]:
    return look_at(record.files.order_by("position").values_list("name", "blob_id"))
