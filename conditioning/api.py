"""The API of machines, sensors, calibrations and regimes."""

from __future__ import annotations

from typing import Any

from django.db.models import Model, QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from conditioning.presenters import (
    calibration_row,
    machine_detail,
    machine_row,
    regime_row,
    sensor_row,
)
from conditioning.selectors.machine import (
    machine_get,
    machine_list,
    occupancy_of,
    occupants_as_seen_by,
)
from conditioning.selectors.regime import regime_get, regime_list
from conditioning.selectors.sensor import calibration_list_of_sensor, sensor_get, sensor_list
from conditioning.services.machine import machine_add, machine_change
from conditioning.services.regime import regime_add, regime_change
from conditioning.services.sensor import calibration_add, sensor_add
from conditioning.shapes import (
    CalibrationRequest,
    CalibrationRow,
    MachineChange,
    MachineDetail,
    MachineRequest,
    MachineRow,
    RegimeChange,
    RegimeRequest,
    RegimeRow,
    SensorRequest,
    SensorRow,
)
from labmatrix.kernel.clock import now
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.listing import PAGE_PARAMETERS, page_answer, page_of
from labmatrix.web.models import Person
from labmatrix.web.parsers import BoundedJSONParser
from specimens.services.event_parse import instant_parse


def _asked(shape: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    sent = shape(data=request.data)
    sent.is_valid(raise_exception=True)
    return dict(sent.validated_data)


def _may_change(request: Request) -> Person:
    """Who asks, if they may change machines: said before the body is read."""
    actor = actor_of(request)
    require(actor.role, Action.RUN_MACHINES)
    return actor


def _whole(rows: QuerySet[Any]) -> Any:
    """Rows of one page by their ids, in order; annotations are kept."""

    def read(ids: Any) -> list[Model]:
        found = {row.pk: row for row in rows.filter(pk__in=list(ids))}
        return [found[key] for key in ids if key in found]

    return read


class _JSONView(APIView):
    parser_classes = (BoundedJSONParser,)


class MachinesView(_JSONView):
    """The laboratory's machines."""

    @extend_schema(
        operation_id="machines_list", parameters=PAGE_PARAMETERS, responses=page_of(MachineRow)
    )
    def get(self, request: Request) -> Response:
        """Pages of machines by code."""
        rows = machine_list(actor=actor_of(request))
        return page_answer(request, rows.values_list("pk", flat=True), _whole(rows), machine_row)

    @extend_schema(operation_id="machines_add", request=MachineRequest, responses={201: MachineRow})
    def post(self, request: Request) -> Response:
        """Add a machine; its code is frozen."""
        actor = _may_change(request)
        machine = machine_add(actor=actor, now=now(), **_asked(MachineRequest, request))
        return Response(machine_row(machine), status=status.HTTP_201_CREATED)


class MachineView(APIView):
    """One machine."""

    @extend_schema(operation_id="machines_get", responses=MachineDetail)
    def get(self, request: Request, code: str) -> Response:
        """A machine with what stands in it now, as a fact of events."""
        actor = actor_of(request)
        machine = machine_get(actor=actor, code=code)
        occupants = occupants_as_seen_by(actor, occupancy_of(machine))
        return Response(machine_detail(machine, occupants))


class MachineChangeView(_JSONView):
    """Change a machine."""

    @extend_schema(operation_id="machines_change", request=MachineChange, responses=MachineRow)
    def post(self, request: Request, code: str) -> Response:
        """Change what is said of a machine, and say why."""
        actor = _may_change(request)
        machine = machine_get(actor=actor, code=code, action=Action.RUN_MACHINES)
        changes = _asked(MachineChange, request)
        why = changes.pop("why")
        changed = machine_change(actor=actor, machine=machine, changes=changes, why=why, now=now())
        return Response(machine_row(changed))


class SensorsView(_JSONView):
    """The laboratory's sensors."""

    @extend_schema(
        operation_id="sensors_list", parameters=PAGE_PARAMETERS, responses=page_of(SensorRow)
    )
    def get(self, request: Request) -> Response:
        """Pages of sensors by serial, each with its last calibration."""
        rows = sensor_list(actor=actor_of(request))
        return page_answer(request, rows.values_list("pk", flat=True), _whole(rows), sensor_row)

    @extend_schema(operation_id="sensors_add", request=SensorRequest, responses={201: SensorRow})
    def post(self, request: Request) -> Response:
        """Add a sensor by the serial on its body."""
        actor = _may_change(request)
        sensor = sensor_add(actor=actor, now=now(), **_asked(SensorRequest, request))
        return Response(sensor_row(sensor), status=status.HTTP_201_CREATED)


class CalibrationsView(_JSONView):
    """The calibrations of one sensor."""

    @extend_schema(
        operation_id="calibrations_list",
        parameters=PAGE_PARAMETERS,
        responses=page_of(CalibrationRow),
    )
    def get(self, request: Request, serial: str) -> Response:
        """Pages of calibrations, the one in force first."""
        sensor = sensor_get(actor=actor_of(request), serial=serial)
        rows = calibration_list_of_sensor(sensor).select_related("sensor")
        ids = rows.values_list("pk", flat=True)
        return page_answer(request, ids, _whole(rows), calibration_row)

    @extend_schema(
        operation_id="calibrations_add",
        request=CalibrationRequest,
        responses={201: CalibrationRow},
    )
    def post(self, request: Request, serial: str) -> Response:
        """Enter a calibration; it counts for what is measured from then on."""
        actor = _may_change(request)
        sensor = sensor_get(actor=actor, serial=serial, action=Action.RUN_MACHINES)
        asked = _asked(CalibrationRequest, request)
        asked["calibrated_at"] = instant_parse(asked["calibrated_at"], "calibrated_at")
        entered = calibration_add(actor=actor, sensor=sensor, now=now(), **asked)
        return Response(calibration_row(entered), status=status.HTTP_201_CREATED)


class RegimesView(_JSONView):
    """Exposure protocols."""

    @extend_schema(
        operation_id="regimes_list", parameters=PAGE_PARAMETERS, responses=page_of(RegimeRow)
    )
    def get(self, request: Request) -> Response:
        """Pages of regimes by code."""
        rows = regime_list(actor=actor_of(request))
        return page_answer(request, rows.values_list("pk", flat=True), _whole(rows), regime_row)

    @extend_schema(operation_id="regimes_add", request=RegimeRequest, responses={201: RegimeRow})
    def post(self, request: Request) -> Response:
        """Add an exposure protocol."""
        actor = _may_change(request)
        regime = regime_add(actor=actor, now=now(), **_asked(RegimeRequest, request))
        return Response(regime_row(regime), status=status.HTTP_201_CREATED)


class RegimeView(APIView):
    """One exposure protocol."""

    @extend_schema(operation_id="regimes_get", responses=RegimeRow)
    def get(self, request: Request, code: str) -> Response:
        """An exposure protocol by its code."""
        return Response(regime_row(regime_get(actor=actor_of(request), code=code)))


class RegimeChangeView(_JSONView):
    """Change an exposure protocol."""

    @extend_schema(operation_id="regimes_change", request=RegimeChange, responses=RegimeRow)
    def post(self, request: Request, code: str) -> Response:
        """Change a protocol, and say why."""
        actor = _may_change(request)
        regime = regime_get(actor=actor, code=code, action=Action.RUN_MACHINES)
        changes = _asked(RegimeChange, request)
        why = changes.pop("why")
        changed = regime_change(actor=actor, regime=regime, changes=changes, why=why, now=now())
        return Response(regime_row(changed))
