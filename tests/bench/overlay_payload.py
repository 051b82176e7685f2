"""What a page of a hundred long curves sends, beside the full figure of the same curves."""

from __future__ import annotations

import json

import numpy as np
import plotly.graph_objects as go

from results.domain.overlay import points_each
from tests.bench.harness import Bench, Goal, interleaved, scaled
from tests.bench.made.overlay_page import Curve, page_payload

CURVES = 100
ROUNDING = 0.5e-6  # of a value: seven significant digits
PROFILE = """Where the time goes, a curve of 100,000 points: looking for what is not a number and
for the smallest and largest x and y of 48 runs 0.3 ms, rounding 0.02 ms, JSON 0.1 ms; nothing is
copied. The page itself never has to: reductions keep curves of some thousand points already."""


def made_curves(points: int) -> list[Curve]:
    """Loads that rise, crack and fall over deflections that tremble, in kN and mm."""
    draw = np.random.default_rng(20260302)
    way = np.linspace(0.0, 1.0, points)
    curves = []
    for number in range(CURVES):
        x = 30.0 * way + draw.normal(0.0, 0.004, points)
        y = (60.0 + number) * np.sin(2.2 * way) + draw.normal(0.0, 0.2, points)
        curves.append((x, y))
    return curves


def full_figure(curves: list[Curve]) -> str:
    """The JSON of Plotly's own figure of all points."""
    return str(go.Figure([go.Scatter(x=x, y=y) for x, y in curves]).to_json())


def _near(shown: float, value: float) -> bool:
    return abs(shown - value) <= ROUNDING * abs(value) * (1 + 1e-9)


def extremes_kept(sent: str, curves: list[Curve]) -> bool:
    """Whether every curve's largest and smallest x and y are among its points, rounded."""
    data = json.loads(sent[sent.index("{") : sent.rindex("}") + 1])["data"]
    return len(data) == len(curves) and all(
        _near(max(trace[name]), float(values.max()))
        and _near(min(trace[name]), float(values.min()))
        for trace, curve in zip(data, curves, strict=True)
        for name, values in zip(("x", "y"), curve, strict=True)
    )


def main() -> None:
    """Two rows: time and bytes."""
    bench = Bench("overlay_payload", versions=("plotly",), repeats=5)
    curves = made_curves(scaled(100_000, 2_000))
    runs = interleaved(
        {"page": lambda: page_payload(curves), "full": lambda: full_figure(curves)},
        repeats=bench.repeats, warm=True,
    )  # fmt: skip
    sent, full = runs.values["page"], runs.values["full"]
    words = f"Overlay of {CURVES} curves of {curves[0][0].size:,} points"
    bench.ratio(
        "overlay-time", f"{words}: what the page sends, times faster than the full figure's JSON",
        runs, of="full", to="page", goal=Goal("E1", 30.0, at_most=False),
        claims={"every curve's largest and smallest x and y are sent": extremes_kept(sent, curves)},
        remark=PROFILE,
    )  # fmt: skip
    bench.row(
        "overlay-bytes", f"{words}: bytes of the full figure's JSON over those of the page",
        figure=len(full.encode()) / len(sent.encode()), goal=Goal("E1", 100.0, at_most=False),
        facts={
            "sent": f"{len(sent.encode()) / 1e6:.2f} MB",
            "full": f"{len(full.encode()) / 1e6:.1f} MB",
            "points of each curve": f"about {points_each(CURVES)}",
        },
        claims={"it is shorter": len(sent) < len(full)},
    )  # fmt: skip
    bench.end()


if __name__ == "__main__":
    main()
