"""Curves small enough for a square of the plate, on one common scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from results.domain.curve import kept_rows


@dataclass(frozen=True)
class Frame:
    """The common scale of a set of small curves: deflection 0 to x_max mm, load 0 to y_max kN."""

    x_max: float
    y_max: float
    width: float
    height: float

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Where a point of the curve is drawn, load upward, kept inside the frame."""
        px = min(max(x / self.x_max, 0.0), 1.0) * self.width
        py = self.height - min(max(y / self.y_max, 0.0), 1.0) * self.height
        return round(px, 1), round(py, 1)


def frame_for(
    curves: Sequence[tuple[Sequence[float], Sequence[float]]], *, width: float, height: float
) -> Frame:
    """The frame that holds every curve, (deflections in mm, loads in kN)."""
    x_max = max((max(x, default=0.0) for x, _ in curves), default=0.0)
    y_max = max((max(y, default=0.0) for _, y in curves), default=0.0)
    return Frame(x_max if x_max > 0 else 1.0, y_max if y_max > 0 else 1.0, width, height)


def path_of(x: Sequence[float], y: Sequence[float], frame: Frame, *, at_most: int = 90) -> str:
    """The ``d`` of an SVG path; the highest and the farthest point are always on it."""
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    rows = kept_rows(xs, ys, at_most=at_most)
    points = [frame.point(float(xs[r]), float(ys[r])) for r in rows]
    if not points:
        return ""
    head, *rest = points
    return f"M{head[0]:g} {head[1]:g}" + "".join(f"L{px:g} {py:g}" for px, py in rest)
