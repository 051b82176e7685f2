"""What stands in the laboratory's machines, and which calibrations lapse."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from conditioning.models import Machine, Sensor
from conditioning.selectors.machine import (
    Occupant,
    machine_list,
    occupancy_now,
    occupants_as_seen_by,
)
from conditioning.selectors.sensor import calibration_list_lapsing
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Person
from specimens.models import SpecimenState

LAPSES_WITHIN_DAYS = 30
_NO_DAY = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class MachineNow:
    """A machine, who stands in it, and what is due on it next.

    Attributes:
        machine: itself.
        occupants: specimens in it, as the person may see them.
        due_at: when the first of them is to be taken out or stopped; None without a day.
        is_late: whether that is past.
    """

    machine: Machine
    occupants: tuple[Occupant, ...]
    due_at: datetime | None
    is_late: bool

    @property
    def taken(self) -> int:
        """How many stand in it."""
        return len(self.occupants)

    @property
    def free(self) -> int | None:
        """Positions left; None where positions are not counted."""
        return max(self.machine.positions - self.taken, 0) if self.machine.positions else None


@dataclass(frozen=True)
class SensorLapsing:
    """A sensor whose calibration lapses soon, or has lapsed."""

    sensor: Sensor
    due_on: date
    has_lapsed: bool


@dataclass(frozen=True)
class MachinesNow:
    """The laboratory's machines and the calibrations that want somebody's care."""

    machines: Sequence[MachineNow]
    lapsing: Sequence[SensorLapsing]

    @property
    def taken(self) -> Sequence[MachineNow]:
        """Machines with something in them, what is due first on top."""
        found = (one for one in self.machines if one.occupants)
        return sorted(found, key=lambda one: (one.due_at is None, one.due_at or _NO_DAY))

    @property
    def empty(self) -> Sequence[MachineNow]:
        """Machines with nothing in them."""
        return [one for one in self.machines if not one.occupants]

    @property
    def late(self) -> int:
        """Machines on which something is overdue."""
        return sum(one.is_late for one in self.machines)

    @property
    def lapsed(self) -> int:
        """Calibrations that have lapsed."""
        return sum(one.has_lapsed for one in self.lapsing)


def _due(codes: Sequence[str]) -> dict[str, datetime]:
    rows = SpecimenState.objects.filter(
        specimen__code__in=codes, next_is_under_way=True, due_at__isnull=False
    )
    return {code: at for code, at in rows.values_list("specimen__code", "due_at") if at}


def _now(
    machine: Machine,
    occupants: Sequence[Occupant],
    due: Mapping[str, datetime],
    seen: tuple[Occupant, ...],
    now: datetime,
) -> MachineNow:
    at = min((due[o.specimen] for o in occupants if o.specimen in due), default=None)
    return MachineNow(machine, seen, at, at is not None and at <= now)


def machines_now(
    *, actor: Person, roles: Mapping[str, Role], now: datetime, today: date
) -> MachinesNow:
    """Every machine with what stands in it, and calibrations that lapse within a month.

    Args:
        actor: may see machines.
        roles: the person's part by programme.
        now: the present.
        today: the laboratory's day.

    Raises:
        NotFound: beyond the person's role.
    """
    inside = occupancy_now()
    due = _due([o.specimen for occupants in inside.values() for o in occupants])
    machines = []
    for machine in machine_list(actor=actor):
        occupants = inside.get(machine.code, ())
        seen = occupants_as_seen_by(actor, occupants, roles)
        machines.append(_now(machine, occupants, due, seen, now))
    until = today + timedelta(days=LAPSES_WITHIN_DAYS)
    lapsing = [
        SensorLapsing(found.sensor, found.due_on, found.due_on < today)
        for found in calibration_list_lapsing(actor=actor, until=until)
        if found.due_on is not None
    ]
    return MachinesNow(machines, lapsing)
