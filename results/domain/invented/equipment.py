"""The invented laboratory's machines, sensors, calibrations and channel maps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from results.domain.invented.logger_text import COMMAS, SEMICOLONS, TABS, LoggerStyle

BREAK, CYCLIC = "break", "cyclic"


@dataclass(frozen=True)
class MachineSpec:
    """A machine: code, name, kind, places for specimens, and what to know of it."""

    code: str
    name: str
    kind: str
    positions: int
    note: str = ""
    dynamic_performance: tuple[tuple[float, float, float], ...] = ()

    def performance(self) -> list[dict[str, float]]:
        """Measured performance of a rig: {amplitude_mm, frequency_hz, load_kn} of each point."""
        names = ("amplitude_mm", "frequency_hz", "load_kn")
        return [dict(zip(names, point, strict=True)) for point in self.dynamic_performance]


@dataclass(frozen=True)
class RegimeSpec:
    """An exposure protocol; each name in ``settings`` ends in its unit."""

    code: str
    title: str
    kind: str
    text: str
    settings: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class CalibrationSpec:
    """What one calibration found; the factor multiplies every reading from then on."""

    calibrated_at: datetime
    factor: float
    u_relative: float
    certificate: str
    due_on: date
    zero: float = 0.0


@dataclass(frozen=True)
class SensorSpec:
    """A sensor by its serial, its range in its unit, its calibrations in order of time."""

    serial: str
    quantity: str
    unit: str
    range_low: float
    range_high: float
    calibrations: tuple[CalibrationSpec, ...]

    def factor_at(self, at: datetime) -> float:
        """Factor of the calibration in force; 1 before the first."""
        known = [c.factor for c in self.calibrations if c.calibrated_at <= at]
        return known[-1] if known else 1.0


@dataclass(frozen=True)
class ChannelSpec:
    """One column of a rig's files.

    Attributes:
        column: name in the file.
        quantity, unit, sign, place, sensor: as in a channel map.
        decimals: written behind the decimal mark.
        per_base: how many of the unit make one base unit (1000 for N of a kN).
        of_fabric: only there on strengthened beams.
    """

    column: str
    quantity: str
    unit: str
    decimals: int
    sign: int = 1
    place: str | None = None
    sensor: str | None = None
    per_base: float = 1.0
    gauge_factor: float | None = None
    of_fabric: bool = False

    def entry(self) -> dict[str, Any]:
        """The channel map's entry, JSON-ready."""
        optional = {
            "place": self.place,
            "sensor": self.sensor,
            "gauge_factor": self.gauge_factor,
        }
        return {
            "column": self.column,
            "quantity": self.quantity,
            "unit": self.unit,
            "sign": self.sign,
            **{name: value for name, value in optional.items() if value is not None},
        }


@dataclass(frozen=True)
class RigSpec:
    """A rig as its logger sees it: how it writes, how often, and its columns by test."""

    code: str
    style: LoggerStyle
    sample_hz: float
    break_channels: tuple[ChannelSpec, ...]
    cyclic_channels: tuple[ChannelSpec, ...] = ()

    def channels(self, test: str, *, has_fabric: bool) -> tuple[ChannelSpec, ...]:
        """The columns of a file of this test, in order."""
        listed = self.cyclic_channels if test == CYCLIC else self.break_channels
        return tuple(c for c in listed if has_fabric or not c.of_fabric)

    def map_name(self, test: str, *, has_fabric: bool) -> str:
        """The name under which the channel map of such files is saved."""
        if test == CYCLIC:
            return f"{self.code} load cycles"
        return f"{self.code} break" + ("" if has_fabric else ", no fabric gauge")


def _at(month: int, day: int) -> datetime:
    return datetime(2026, month, day, 9, 0, tzinfo=UTC)


def _once(factor: float, u: float, certificate: str) -> tuple[CalibrationSpec, ...]:
    return (CalibrationSpec(_at(1, 6), factor, u, certificate, date(2027, 1, 6)),)


LOAD_CELL_1 = SensorSpec(
    "QL-200-11",
    "load",
    "kN",
    0.0,
    200.0,
    (
        CalibrationSpec(_at(1, 6), 1.0021, 0.0025, "invented 26-003", date(2026, 7, 6)),
        CalibrationSpec(_at(7, 3), 0.9994, 0.0025, "invented 26-071", date(2027, 1, 3), 0.1),
    ),
)
SENSORS = (
    LOAD_CELL_1,
    SensorSpec("QL-200-12", "load", "kN", 0.0, 200.0, _once(0.9987, 0.0025, "invented 26-004")),
    SensorSpec("QL-100-31", "load", "kN", -100.0, 100.0, _once(1.0008, 0.004, "invented 26-005")),
    SensorSpec(
        "QD-100-21", "deflection", "mm", 0.0, 100.0, _once(0.9985, 0.002, "invented 26-011")
    ),
    SensorSpec(
        "QD-100-22", "deflection", "mm", 0.0, 100.0, _once(1.0012, 0.002, "invented 26-012")
    ),
    SensorSpec("QD-50-41", "deflection", "mm", -50.0, 50.0, _once(1.0, 0.002, "invented 26-013")),
    SensorSpec("QD-5-23", "settlement", "mm", 0.0, 5.0, _once(1.0, 0.005, "invented 26-014")),
    SensorSpec("QD-5-24", "settlement", "mm", 0.0, 5.0, _once(1.0, 0.005, "invented 26-015")),
    SensorSpec("QS-CH-1", "strain", "µm/m", -3e4, 3e4, _once(1.0, 0.01, "invented 26-021")),
    SensorSpec("QS-CH-2", "strain", "µm/m", -3e4, 3e4, _once(1.0, 0.01, "invented 26-022")),
    SensorSpec("QL-10-51", "load", "kN", 0.0, 10.0, _once(1.0015, 0.003, "invented 26-031")),
    SensorSpec("QE-5-52", "deflection", "mm", 0.0, 5.0, _once(0.9990, 0.003, "invented 26-032")),
    SensorSpec("QL-100-61", "load", "kN", 0.0, 100.0, _once(0.9992, 0.0025, "invented 26-033")),
    SensorSpec("QE-15-62", "strain", "%", 0.0, 15.0, _once(1.0, 0.004, "invented 26-034")),
)


def sensor_by_serial(serial: str) -> SensorSpec:
    """The sensor with this serial.

    Raises:
        KeyError: none has it.
    """
    return {sensor.serial: sensor for sensor in SENSORS}[serial]


def _strains(bar: str, fabric: str) -> tuple[ChannelSpec, ...]:
    shared: dict[str, Any] = {"quantity": "strain", "unit": "µm/m", "decimals": 1, "per_base": 1e6}
    return (
        ChannelSpec(bar, place="bar", sensor="QS-CH-1", gauge_factor=2.11, **shared),
        ChannelSpec(
            fabric, place="fabric", sensor="QS-CH-2", gauge_factor=2.08, of_fabric=True, **shared
        ),
    )


def _settlements(left: str, right: str) -> tuple[ChannelSpec, ...]:
    return (
        ChannelSpec(left, "settlement", "mm", 3, place="left support", sensor="QD-5-23"),
        ChannelSpec(right, "settlement", "mm", 3, place="right support", sensor="QD-5-24"),
    )


def _deflection(column: str, sensor: str, sign: int = 1) -> ChannelSpec:
    return ChannelSpec(column, "deflection", "mm", 3, sign=sign, place="mid-span", sensor=sensor)


RIG_LOAD = ChannelSpec(
    "Force", "load", "N", 0, place="actuator", sensor="QL-100-31", per_base=1000.0
)
RIGS = (
    RigSpec(
        "TEST-1",
        SEMICOLONS,
        2.0,
        (
            ChannelSpec("Time", "time", "s", 1),
            ChannelSpec("Load", "load", "kN", 3, place="actuator", sensor="QL-200-11"),
            _deflection("Deflection midspan", "QD-100-21"),
            *_settlements("Settlement A", "Settlement B"),
            *_strains("Strain bar", "Strain fabric"),
        ),
    ),
    RigSpec(
        "TEST-2",
        TABS,
        2.5,
        (
            ChannelSpec("t", "time", "s", 1),
            # This cell counts compression as negative.
            ChannelSpec("Load cell", "load", "kN", 4, -1, place="actuator", sensor="QL-200-12"),
            _deflection("D mid", "QD-100-22"),
            *_settlements("D supp A", "D supp B"),
            *_strains("SG bar", "SG fabric"),
        ),
    ),
    RigSpec(
        "RIG-1",
        COMMAS,
        2.0,
        (
            ChannelSpec("Elapsed", "time", "s", 2),
            RIG_LOAD,
            # The transducer hangs below the beam, so that it shortens.
            _deflection("Yoke", "QD-50-41", sign=-1),
            *_settlements("Support A", "Support B"),
            *_strains("Bar", "Fabric"),
        ),
        (
            ChannelSpec("Elapsed", "time", "s", 4),
            RIG_LOAD,
            _deflection("Yoke", "QD-50-41", sign=-1),
        ),
    ),
)


def rig_by_code(code: str) -> RigSpec:
    """The rig with this code.

    Raises:
        KeyError: none has it.
    """
    return {rig.code: rig for rig in RIGS}[code]


# Test machines for materials: time, load, and elongation or strain, by test.
MATERIAL_MAPS: dict[str, tuple[ChannelSpec, ChannelSpec, ChannelSpec]] = {
    "coupon": (
        ChannelSpec("Time", "time", "s", 1),
        ChannelSpec("Force", "load", "N", 1, sensor="QL-10-51", per_base=1000.0),
        ChannelSpec("Extension", "deflection", "mm", 5, sensor="QE-5-52"),
    ),
    "bar": (
        ChannelSpec("Time", "time", "s", 1),
        ChannelSpec("Force", "load", "kN", 3, sensor="QL-100-61"),
        ChannelSpec("Strain", "strain", "%", 5, sensor="QE-15-62", per_base=100.0),
    ),
}


def material_map_name(test: str) -> str:
    """The name under which the channel map of a material test is saved."""
    return f"Test machine, {test}"


def channel_maps() -> dict[str, list[dict[str, Any]]]:
    """Every saved channel map: name -> entries."""
    found: dict[str, list[dict[str, Any]]] = {}
    for rig in RIGS:
        for test, listed in ((BREAK, rig.break_channels), (CYCLIC, rig.cyclic_channels)):
            for has_fabric in (True, False):
                if listed:
                    channels = rig.channels(test, has_fabric=has_fabric)
                    name = rig.map_name(test, has_fabric=has_fabric)
                    found[name] = [channel.entry() for channel in channels]
    for test, listed in MATERIAL_MAPS.items():
        found[material_map_name(test)] = [channel.entry() for channel in listed]
    return found


MACHINES = (
    MachineSpec("TEST-1", "Test frame, 200 kN, bay 1", "rig", 1),
    MachineSpec("TEST-2", "Test frame, 200 kN, bay 2", "rig", 1),
    MachineSpec(
        "RIG-1",
        "Fatigue rig, 100 kN",
        "rig",
        1,
        "One beam at a time; trips on load and displacement.",
        ((1.0, 8.0, 50.0), (2.0, 5.0, 50.0), (4.0, 2.5, 50.0)),
    ),
    MachineSpec("FRAME-1", "Sustained-load frame 1, on wheels", "frame", 1),
    MachineSpec("FRAME-2", "Sustained-load frame 2, on wheels", "frame", 1),
    MachineSpec("SALT-1", "Wet–dry salt chamber", "chamber", 12),
    MachineSpec("FROST-1", "Freeze–thaw chamber", "chamber", 6),
)
REGIMES = (
    RegimeSpec("LAB", "Laboratory", "laboratory", "In the hall, under cover, 20 to 24 °C."),
    RegimeSpec(
        "WD-SALT",
        "Wet–dry, salt",
        "wet-dry",
        "Sprayed with salt water, then dried with warm air; one wet–dry cycle a day.",
        (("wet_h", 12.0), ("dry_h", 12.0), ("salt_percent", 3.5), ("dry_degc", 40.0)),
    ),
    RegimeSpec(
        "FT",
        "Freeze–thaw",
        "freeze-thaw",
        "Frozen in air, thawed in water; about 300 freeze–thaw cycles in 84 days.",
        (("low_degc", -18.0), ("high_degc", 4.5), ("cycles_per_day", 3.6)),
    ),
)
