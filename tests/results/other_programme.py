"""A second programme, made by hand, whose every number can be worked out on paper.

For a test of the whole way, with nothing in it that the demo has: other codes, other units and
signs, a matrix in CSV, curves of straight lines without noise. Curves are one curve, its loads
times a factor f: (0, 0) (1, 15) (6, 60) (10, 66) (25, 72) (35, 60) (40, 50), in mm and kN.

Worked out for f = 1 (loads and energies go with f, deflections and ductility do not change):

* peak 72 kN at 25 mm;
* initial stiffness 15 / 1 = 15 kN/mm, first crack at 1 mm and 15 kN;
* cracked stiffness (60 − 15) / (6 − 1) = 9 kN/mm;
* secant through 0.75 · 72 = 54 kN: reached at 1 + 39 / 9 = 16 / 3 mm, so yield at
  16 / 3 / 0.75 = 64 / 9 = 7.1111 mm, where the curve has 60 + 1.5 · 10 / 9 = 185 / 3 kN;
* 0.80 · 72 = 57.6 kN is passed between (35, 60) and (40, 50) at 35 + 2.4 / 2 = 36.2 mm;
  ductility 36.2 / (64 / 9) = 5.090625;
* energy to peak, trapezoids: 7.5 + 187.5 + 252 + 1035 = 1482 kN·mm.

Yield by the secant of 75 % and ultimate at 80 % of the peak are after Park (1989).

Cells, factors f, and what a comparison of ``peak_load`` has to say:

===== ===== ======= ============ ============== =========== ========================
cell  plies water   f            peaks [kN]     mean [kN]   s (n − 1) [kN]
===== ===== ======= ============ ============== =========== ========================
D0    0     dry     0.95, 1.05   68.4, 75.6     72.0        √(3.6² + 3.6²) = 5.0911688
D3    3     dry     1.25, 1.35   90.0, 97.2     93.6        5.0911688
T0    0     tidal   0.90         64.8           64.8        none, n = 1
T3    3     tidal   1.08         77.76          77.76       none, n = 1
===== ===== ======= ============ ============== =========== ========================

Gain: D3 over D0 93.6 / 72 − 1 = 0.30; T3 over T0 77.76 / 64.8 − 1 = 0.20. Against the
conditioning control: T0 over D0 64.8 / 72 − 1 = −0.10; T3 over D3 77.76 / 93.6 − 1 = −0.1692308.
Retention of the member 0.8307692; of the fabric's contribution (77.76 − 64.8) / (93.6 − 72) = 0.6.
Ages at the test (concrete): dry 60 d and 64 d (mean 62), tidal 90 d.
"""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

PROGRAMME: dict[str, Any] = {
    "code": "MOLE",
    "title": "Deck beams of the east mole",
    "sponsor_question": "Does a wrap of three plies hold in the tidal zone?",
    "is_invented": True,
}
SERIES_CODE = "EM"
SERIES: dict[str, Any] = {
    "code": SERIES_CODE,
    "title": "Deck beams",
    "specimen_type": "beam",
    "code_template": "{series}-{cell}-{n}",
    "route": {
        "stages": [
            {"stage": "cast"},
            {"stage": "strengthen", "plies": {"factor": "wrap"}, "unless": {"wrap": 0}},
            {
                "stage": "expose",
                "regime": {"factor": "water"},
                "days": 30,
                "unless": {"water": "dry"},
            },
            {"stage": "break"},
        ]
    },
    "member": {"b_mm": 150, "h_mm": 250, "span_mm": 2000, "shear_span_mm": 700},
    "responses": ["peak_load"],
}
# Semicolons, other capitals, columns in another order, an empty line.
MATRIX_CSV = b"""\
Code;wrap [plies];water;n;Gain control;Conditioning control;Notes
D0;0;dry;2;none;none;

D3;3;dry;2;D0;none;
T0;0;tidal;1;none;D0;
T3;3;tidal;1;T0;D3;one beam only, the tide gauge broke
"""
CONTROLS = {"D0": (None, None), "D3": ("D0", None), "T0": (None, "D0"), "T3": ("T0", "D3")}

CURVE = ((0, 0), (1, 15), (6, 60), (10, 66), (25, 72), (35, 60), (40, 50))
CAST_AT = datetime(2026, 2, 2, 8, 0, tzinfo=UTC)


@dataclass(frozen=True)
class OtherBeam:
    """One beam: its cell, number, factor f, age at the test, and how its file is written."""

    cell: str
    number: int
    factor: float
    age_days: int
    style: str

    @property
    def code(self) -> str:
        """As the series' template gives it."""
        return f"{SERIES_CODE}-{self.cell}-{self.number}"

    @property
    def plies(self) -> int:
        """Fabric plies."""
        return int(self.cell[1])

    @property
    def is_tidal(self) -> bool:
        """Stood in the tidal zone."""
        return self.cell.startswith("T")

    @property
    def broken_at(self) -> datetime:
        """When it was broken."""
        return CAST_AT + timedelta(days=self.age_days)


BEAMS = (
    OtherBeam("D0", 1, 0.95, 60, "plain"),
    OtherBeam("D0", 2, 1.05, 64, "semicolons"),
    OtherBeam("D3", 1, 1.25, 60, "tabs"),
    OtherBeam("D3", 2, 1.35, 64, "newtons"),
    OtherBeam("T0", 1, 0.90, 90, "plain"),
    OtherBeam("T3", 1, 1.08, 90, "semicolons"),
)


# Metrics of the curve with f = 1: (value, unit, whether it goes with f).
METRICS: dict[tuple[str, str | None], tuple[float, str, bool]] = {
    ("peak_load", None): (72.0, "kN", True),
    ("peak_deflection", None): (25.0, "mm", False),
    ("initial_stiffness", None): (15.0, "kN/mm", True),
    ("first_crack_load", None): (15.0, "kN", True),
    ("cracked_stiffness", None): (9.0, "kN/mm", True),
    ("yield_deflection", "secant75"): (64.0 / 9.0, "mm", False),
    ("yield_load", "secant75"): (185.0 / 3.0, "kN", True),
    ("ultimate_deflection", None): (36.2, "mm", False),
    ("ductility_deflection", "secant75"): (5.090625, "1", False),
    ("energy_to_peak", None): (1482.0, "kN·mm", True),
}


@dataclass(frozen=True)
class ExpectedRow:
    """One row of the comparison of ``peak_load``, worked out in this module's text."""

    cell: str
    n: int
    mean_kn: float
    s_kn: float | None
    age_days: float
    gain_control: str | None
    gain: float | None
    conditioning_control: str | None
    change: float | None


COMPARISON = (
    ExpectedRow("D0", 2, 72.0, 5.091168824543142, 62.0, None, None, None, None),
    ExpectedRow("D3", 2, 93.6, 5.091168824543142, 62.0, "D0", 0.30, None, None),
    ExpectedRow("T0", 1, 64.8, None, 90.0, None, None, "D0", -0.10),
    ExpectedRow("T3", 1, 77.76, None, 90.0, "T0", 0.20, "D3", -0.16923076923076923),
)
CONTRIBUTION_RETENTION = 0.6
MEMBER_RETENTION = 0.8307692307692308


def _rows(factor: float) -> Iterator[tuple[float, float]]:
    """Deflection (mm) and load (kN): five rows at rest, then 25 steps on each line."""
    yield from [(0.0, 0.0)] * 5
    for (x0, y0), (x1, y1) in itertools.pairwise(CURVE):
        for k in range(1, 26):
            yield x0 + (x1 - x0) * k / 25, factor * (y0 + (y1 - y0) * k / 25)


def file_of(beam: OtherBeam) -> bytes:
    """The raw file of a beam: four ways to write the same kind of table."""
    rows = [(i * 0.5, d, p) for i, (d, p) in enumerate(_rows(beam.factor))]
    if beam.style == "plain":
        lines = ["time,defl,load", "s,mm,kN"]
        lines += [f"{t:.1f},{d:.4f},{p:.6f}" for t, d, p in rows]
        return "\n".join(lines).encode()
    if beam.style == "semicolons":
        lines = ["Beam;" + beam.code, "", "Zeit;Weg;Kraft", "s;mm;kN"]
        cells = (f"{t:.1f};{d:.4f};{p:.6f}".replace(".", ",") for t, d, p in rows)
        return "\r\n".join([*lines, *cells, ""]).encode("cp1252")
    if beam.style == "tabs":
        # Compression counts as negative here.
        lines = ["# " + beam.code, "t [s]\tw [cm]\tF [kN]"]
        lines += [f"{t:.1f}\t{d / 10:.6f}\t{-p:.6f}" for t, d, p in rows]
        return ("\n".join(lines) + "\n").encode()
    lines = ["elapsed,stroke,force", "ms,mm,N"]
    lines += [f"{1000 * t:.1f},{d:.4f},{1000 * p:.3f}" for t, d, p in rows]
    return ("\n".join(lines) + "\n").encode("utf-16")


FILE_NAMES = {"plain": "csv", "semicolons": "txt", "tabs": "asc", "newtons": "dat"}


def file_name(beam: OtherBeam) -> str:
    """A name for the file."""
    return f"{beam.code.lower()}.{FILE_NAMES[beam.style]}"


_COLUMNS = {
    "plain": (("time", "s", 1), ("defl", "mm", 1), ("load", "kN", 1)),
    "semicolons": (("Zeit", "s", 1), ("Weg", "mm", 1), ("Kraft", "kN", 1)),
    "tabs": (("t [s]", "s", 1), ("w [cm]", "cm", 1), ("F [kN]", "kN", -1)),
    "newtons": (("elapsed", "ms", 1), ("stroke", "mm", 1), ("force", "N", 1)),
}


def channels_of(beam: OtherBeam) -> list[dict[str, Any]]:
    """The channel map of a beam's file, as it is sent with the record."""
    quantities = ("time", "deflection", "load")
    return [
        {"column": column, "quantity": quantity, "unit": unit, "sign": sign}
        for quantity, (column, unit, sign) in zip(quantities, _COLUMNS[beam.style], strict=True)
    ]


def events_of(beam: OtherBeam) -> list[dict[str, Any]]:
    """The events of a beam, in order of time, as the event door takes them."""
    happened: list[tuple[float, str, dict[str, Any]]] = [
        (0.0, "cast", {"batch": "M-1"}),
        (1.0, "demoulded", {}),
    ]
    if beam.plies:
        happened.append((28.0, "layer", {"kind": "base mortar", "lot": "B-7"}))
        happened += [
            (28.0 + ply / 24, "layer", {"kind": "fabric", "ply": ply, "lot": "W-2"})
            for ply in range(1, beam.plies + 1)
        ]
    if beam.is_tidal:
        stay = {"machine": "TIDE-1", "position": str(1 + (beam.plies > 0)), "run": "T-01"}
        happened += [(58.0, "entered", stay), (88.0, "left", stay)]
    words = "the wrap slipped in its mortar" if beam.plies else "bars yielded, concrete crushed"
    mode = {"scheme": "member", "letter": "", "words": words}
    happened.append((float(beam.age_days), "broken", {"end": "broken", "mode": mode}))
    return [
        {
            "id": str(uuid.uuid5(uuid.NAMESPACE_URL, f"{beam.code}/{number}")),
            "subject": beam.code,
            "kind": kind,
            "occurred_at": (CAST_AT + timedelta(days=day)).isoformat(),
            "payload": payload,
        }
        for number, (day, kind, payload) in enumerate(happened)
    ]
