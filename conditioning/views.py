"""Pages about machines, sensors and regimes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from conditioning.domain.setting_words import settings_in_words
from conditioning.forms import CalibrationForm, MachineForm, RegimeForm, SensorForm
from conditioning.models import Machine
from conditioning.selectors.machine import (
    machine_get,
    machine_list,
    occupancy_of,
    occupants_as_seen_by,
)
from conditioning.selectors.regime import regime_get, regime_list
from conditioning.selectors.sensor import calibration_list_of_sensor, sensor_get, sensor_list
from conditioning.services.machine import CHANGEABLE as MACHINE_CHANGEABLE
from conditioning.services.machine import machine_add, machine_change
from conditioning.services.regime import CHANGEABLE as REGIME_CHANGEABLE
from conditioning.services.regime import regime_add, regime_change
from conditioning.services.sensor import calibration_add, sensor_add
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.matrix.links import Place, links_for
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed, require
from labmatrix.web.models import Person
from labmatrix.web.refused import refuse, sent, status_shown
from specimens.selectors.event import event_list_of_subject, event_standings_of, people_names
from specimens.selectors.event_page import UNNAMED, events_seen

ROWS_ON_A_PAGE = 100
EVENTS_SHOWN = 100


def _page(request: HttpRequest, rows: QuerySet[Any]) -> Page[Any]:
    return Paginator(rows, ROWS_ON_A_PAGE).get_page(request.GET.get("page"))


def _may_change(actor: Person) -> bool:
    return allowed(actor.role, Action.RUN_MACHINES)


def _changer(request: HttpRequest) -> Person:
    actor = actor_of(request)
    require(actor.role, Action.RUN_MACHINES)
    return actor


def _form_page(
    request: HttpRequest,
    form: forms.Form,
    write: Callable[[dict[str, Any]], Model],
    done: Callable[[Model], str],
    **context: Any,
) -> HttpResponse:
    """Show a form; write what it says and go on, or say in its own words why not."""
    if request.method == "POST" and form.is_valid():
        try:
            written = write(form.cleaned_data)
            messages.success(request, f"{context['title']}: {written}.")
            return redirect(done(written))
        except UserError as error:
            refuse(form, error)
    status = status_shown(request, form)
    return render(request, "conditioning/thing_form.html", {"form": form, **context}, status=status)


@require_GET
def machine_index(request: HttpRequest) -> HttpResponse:
    """The laboratory's machines."""
    actor = actor_of(request)
    page = _page(request, machine_list(actor=actor))
    context = {"page": page, "may_change": _may_change(actor)}
    return render(request, "conditioning/machine_list.html", context)


@require_GET
def machine_detail(request: HttpRequest, code: str) -> HttpResponse:
    """One machine: what stands in it, what happened to it."""
    actor = actor_of(request)
    machine = machine_get(actor=actor, code=code)
    events = event_list_of_subject(machine.subject, EVENTS_SHOWN)
    context = {
        "machine": machine,
        "occupants": occupants_as_seen_by(actor, occupancy_of(machine)),
        "events": events_seen(events, event_standings_of(events)),
        "caution_kind": {"rig": "cycling", "frame": "sustained", "chamber": "salt-fog"}.get(
            machine.kind
        ),
        "may_change": _may_change(actor),
        "may_log": allowed(actor.role, Action.LOG_EVENT),
    }
    return render(request, "conditioning/machine_detail.html", context)


def _machine_url(machine: Model) -> str:
    return reverse("conditioning:machine-detail", args=[str(machine)])


def machine_new(request: HttpRequest) -> HttpResponse:
    """Add a machine."""
    actor = _changer(request)

    def write(data: dict[str, Any]) -> Machine:
        return machine_add(actor=actor, now=now(), **data)

    return _form_page(
        request,
        MachineForm(sent(request)),
        write,
        _machine_url,
        title="Add a machine",
        button="Add the machine",
        about="Its code is frozen once it is added, for it is printed on a label.",
        back=reverse("conditioning:machine-list"),
        back_label="Machines",
    )


def machine_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change what is said of a machine."""
    actor = _changer(request)
    machine = machine_get(actor=actor, code=code, action=Action.RUN_MACHINES)

    def write(data: dict[str, Any]) -> Machine:
        why = data.pop("why")
        return machine_change(actor=actor, machine=machine, changes=data, why=why, now=now())

    initial = {name: getattr(machine, name) for name in MACHINE_CHANGEABLE}
    return _form_page(
        request,
        MachineForm(sent(request), initial=initial, changes=True),
        write,
        _machine_url,
        title=f"Change {code}",
        button="Keep the change",
        about="The change enters the ledger: before, after, why.",
        back=_machine_url(machine),
        back_label=code,
    )


@require_GET
def sensor_index(request: HttpRequest) -> HttpResponse:
    """The laboratory's sensors, each with its last calibration."""
    actor = actor_of(request)
    page = _page(request, sensor_list(actor=actor))
    context = {"page": page, "may_change": _may_change(actor), "today": now().date()}
    return render(request, "conditioning/sensor_list.html", context)


@require_GET
def sensor_detail(request: HttpRequest, serial: str) -> HttpResponse:
    """One sensor with all that calibrations found."""
    actor = actor_of(request)
    sensor = sensor_get(actor=actor, serial=serial)
    page = _page(request, calibration_list_of_sensor(sensor))
    names = people_names({row.recorded_by for row in page.object_list})
    context = {
        "sensor": sensor,
        "page": page,
        "calibrations": [(row, names.get(row.recorded_by, UNNAMED)) for row in page.object_list],
        "links": links_for(Place.SENSOR, actor.role, sensor.serial),
        "may_change": _may_change(actor),
        "today": now().date(),
    }
    return render(request, "conditioning/sensor_detail.html", context)


def _sensor_url(sensor: Model) -> str:
    return reverse("conditioning:sensor-detail", args=[str(sensor)])


def sensor_new(request: HttpRequest) -> HttpResponse:
    """Add a sensor."""
    actor = _changer(request)
    return _form_page(
        request,
        SensorForm(sent(request)),
        lambda data: sensor_add(actor=actor, now=now(), **data),
        _sensor_url,
        title="Add a sensor",
        button="Add the sensor",
        about="The serial is how channel maps name it; it never changes.",
        back=reverse("conditioning:sensor-list"),
        back_label="Sensors",
    )


def calibration_new(request: HttpRequest, serial: str) -> HttpResponse:
    """Enter a calibration."""
    actor = _changer(request)
    sensor = sensor_get(actor=actor, serial=serial, action=Action.RUN_MACHINES)
    return _form_page(
        request,
        CalibrationForm(sent(request)),
        lambda data: calibration_add(actor=actor, sensor=sensor, now=now(), **data),
        lambda _: _sensor_url(sensor),
        title=f"Calibration of {sensor.serial}",
        button="Enter the calibration",
        about=(
            "It counts for what is measured from then on. It is never edited: a later entry for "
            "the same instant takes its place."
        ),
        back=_sensor_url(sensor),
        back_label=sensor.serial,
    )


@require_GET
def regime_index(request: HttpRequest) -> HttpResponse:
    """Exposure protocols."""
    actor = actor_of(request)
    page = _page(request, regime_list(actor=actor))
    context = {"page": page, "may_change": _may_change(actor)}
    return render(request, "conditioning/regime_list.html", context)


@require_GET
def regime_detail(request: HttpRequest, code: str) -> HttpResponse:
    """One exposure protocol."""
    actor = actor_of(request)
    regime = regime_get(actor=actor, code=code)
    context = {
        "regime": regime,
        "settings_shown": settings_in_words(regime.settings),
        "may_change": _may_change(actor),
    }
    return render(request, "conditioning/regime_detail.html", context)


def _regime_url(regime: Model) -> str:
    return reverse("conditioning:regime-detail", args=[str(regime)])


def regime_new(request: HttpRequest) -> HttpResponse:
    """Add an exposure protocol."""
    actor = _changer(request)
    return _form_page(
        request,
        RegimeForm(sent(request)),
        lambda data: regime_add(actor=actor, now=now(), **data),
        _regime_url,
        title="Add a regime",
        button="Add the regime",
        about="The words are what people follow; the settings are what is computed with.",
        back=reverse("conditioning:regime-list"),
        back_label="Regimes",
    )


def regime_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change an exposure protocol."""
    actor = _changer(request)
    regime = regime_get(actor=actor, code=code, action=Action.RUN_MACHINES)

    def write(data: dict[str, Any]) -> Model:
        why = data.pop("why")
        return regime_change(actor=actor, regime=regime, changes=data, why=why, now=now())

    initial = {name: getattr(regime, name) for name in REGIME_CHANGEABLE}
    return _form_page(
        request,
        RegimeForm(sent(request), initial=initial, changes=True),
        write,
        _regime_url,
        title=f"Change {code}",
        button="Keep the change",
        about="What was done under it stays done; the change enters the ledger.",
        back=_regime_url(regime),
        back_label=code,
    )
