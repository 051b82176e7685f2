"""The numbers of a break test, read off its envelope one after the other."""

from __future__ import annotations

from typing import Any

import numpy as np

from results.domain.reduction.break_prepare import Prepared
from results.domain.reduction.break_settings import BreakSettings
from results.domain.reduction.lines import Line, Pair, line_between, pair_between
from results.domain.reduction.outcome import Bound, Floats, Found, Note, Point

SECANT, EQUAL_ENERGY, GAUGE = "secant75", "equal-energy", "gauge"
_STAY = 5
_BETTER_SIGMAS, _BETTER_SHARE = 0.5, 0.001
# Of the cracked line before the change, and of the curve after it, as shares of its length.
_BEFORE, _AFTER_FROM, _AFTER_TO = 0.75, 0.05, 0.45


class Reading:
    """Reads metrics off a prepared record.

    Args:
        prepared: from ``prepare``.
        settings: see ``BreakSettings``.
        already_cracked: first crack and initial stiffness are then not looked for.
    """

    def __init__(
        self, prepared: Prepared, settings: BreakSettings, *, already_cracked: bool
    ) -> None:
        self.prepared, self.settings, self.curve = prepared, settings, prepared.curve
        self.already_cracked = already_cracked
        self.metrics: list[Found] = []
        self.marks: list[Point] = []
        self.crack: float | None = None
        self.first: Line | None = None
        self.cracked: Line | None = None
        self.line_end = self.curve.peak_load
        self.ultimate = self.curve.end
        self.peak_bound: Bound | None = None
        self.bound: Bound | None = None

    def read(self, strain: Floats | None) -> None:
        """Finds everything, in the order in which one thing needs another."""
        self._peak()
        self._ultimate()
        self._first_crack()
        self._cracked_line()
        yields = {SECANT: self._secant(), EQUAL_ENERGY: self._equal_energy()}
        if strain is not None and self.settings.bar_yield_strain is not None:
            yields[GAUGE] = self._gauge(strain, self.settings.bar_yield_strain)
        for method, found in yields.items():
            if found is not None:
                self._yield(method, *found)
        self._post_yield(yields)
        self._energies()

    # -- writing down ----------------------------------------------------------------------

    def _note(self, code: str, message: str) -> None:
        self.prepared.notes.append(Note(code, message))

    def _add(self, name: str, value: float, unit: str, **more: Any) -> None:
        self.metrics.append(Found(name=name, value=value, unit=unit, **more))

    def _mark(self, deflection: float, load: float, label: str) -> Point:
        point = self.curve.point(deflection, load, label)
        self.marks.append(point)
        return point

    # -- peak and ultimate -----------------------------------------------------------------

    def _peak(self) -> None:
        curve = self.curve
        limit = max(self.settings.peak_drop_share * curve.peak_load, 6.0 * self.curve.sigma)
        if curve.largest_fall() <= limit:
            self.peak_bound = "lower"
            self._note(
                "break.stopped-before-peak",
                f"The load never fell by more than {limit:.3g} kN after its largest value "
                f"{curve.peak_load:.4g} kN: the test stopped before the peak, which is a lower "
                "bound, and so is what follows from it; a ductility is not given against a yield "
                "that goes by the peak.",
            )
        bound = self.peak_bound
        point = self._mark(curve.peak_deflection, curve.peak_load, "peak")
        self._add("peak_load", curve.peak_load, "kN", bound=bound, point=point)
        self._add("peak_deflection", curve.peak_deflection, "mm", bound=bound, point=point)

    def _ultimate(self) -> None:
        curve, share = self.curve, self.settings.ultimate_share
        found = curve.falls_to(share * curve.peak_load)
        if found is None:
            self.bound = "lower"
            self._note(
                "break.ultimate-not-reached",
                f"The load did not fall to {share:g} of the peak before the record ended at "
                f"{curve.end:.4g} mm: the ultimate deflection is a lower bound, and what follows "
                "from it too.",
            )
        else:
            self.ultimate = found
        load = curve.load_at(self.ultimate) if found is None else share * curve.peak_load
        point = self._mark(self.ultimate, load, "ultimate" if found else "end of record")
        self._add(
            "ultimate_deflection",
            self.ultimate,
            "mm",
            bound=self.bound,
            method=f"drop to {share:g}",
            point=point,
        )

    # -- the two lines before yield --------------------------------------------------------

    def _is_change(self, pair: Pair | None) -> bool:
        limit = max(_BETTER_SIGMAS * self.curve.sigma, _BETTER_SHARE * self.curve.peak_load)
        return (
            pair is not None
            and pair.first.slope > 0.0
            and pair.second.slope <= self.settings.crack_slope_ratio * pair.first.slope
            and pair.better > limit
        )

    def _first_crack(self) -> None:
        if self.already_cracked:
            self._note(
                "break.already-cracked",
                "The member was cracked, cycled or sustained before this test: first crack and "
                "initial stiffness are not reported.",
            )
            return
        curve = self.curve
        stop = curve.rising_to(self.settings.crack_search_share * curve.peak_load)
        start = float(curve.deflection[0])
        pair = None if stop is None else pair_between(curve.deflection, curve.load, start, stop)
        if pair is None or not self._is_change(pair):
            self._note(
                "break.no-first-crack",
                "No change of slope that stands out from the noise was found up to "
                f"{self.settings.crack_search_share:g} of the peak: first crack and initial "
                "stiffness are not reported.",
            )
            return
        self.crack, self.first = pair.at, pair.first
        load = pair.first(pair.at)
        point = self._mark(pair.at, load, "first crack")
        self._add("first_crack_load", load, "kN", point=point)
        self._add("first_crack_deflection", pair.at, "mm", point=point)
        self._add("initial_stiffness", pair.first.slope, "kN/mm", point=point)

    def _cracked_line(self) -> None:
        """The line between first crack and the change before the peak, and where it ends."""
        curve = self.curve
        x, y = curve.deflection, curve.load
        start = float(x[0]) if self.crack is None else self.crack
        pair = pair_between(x, y, start, curve.peak_deflection)
        if pair is None or not self._is_change(pair):
            self.cracked = line_between(x, y, start, curve.peak_deflection)
        else:
            length = pair.change - start
            margin = 0.0 if self.crack is None else 0.1 * length
            self.cracked = line_between(x, y, start + margin, start + _BEFORE * length)
            after = line_between(
                x,
                y,
                pair.change + _AFTER_FROM * length,
                min(pair.change + _AFTER_TO * length, curve.peak_deflection),
            )
            met = after and self.cracked and self.cracked.meets(after)
            at = met if met and start < met < curve.peak_deflection else pair.change
            self.line_end = self.cracked(at) if self.cracked else curve.load_at(at)
            self.prepared.resolved["cracked_line_end_mm"] = at
        self.prepared.resolved["cracked_line_end_kn"] = self.line_end
        if self.cracked is not None and self.cracked.slope > 0.0:
            self._add("cracked_stiffness", self.cracked.slope, "kN/mm")

    # -- yield -----------------------------------------------------------------------------

    def _secant(self) -> tuple[float, float] | None:
        """Deflection of the secant at the peak load; load of the curve there."""
        curve = self.curve
        level = self.settings.secant_share * curve.peak_load
        there = curve.rising_to(level)
        if there is None or there <= 0.0:
            return None
        deflection = there * curve.peak_load / level
        return deflection, curve.load_at(deflection)

    def _equal_energy(self) -> tuple[float, float] | None:
        """Corner of the elastic–perfectly plastic curve of equal energy."""
        corner = self.curve.equal_energy(self.settings.elastic_share, self.ultimate)
        if corner is None:
            self._note(
                "break.no-equal-energy",
                "The energy up to the ultimate deflection exceeds that of the elastic line: an "
                "elastic–perfectly plastic curve of equal energy does not exist.",
            )
        return corner

    def _gauge(self, strain: Floats, limit: float) -> tuple[float, float] | None:
        """First place, in time order, where the bar strain reaches yield and stays there."""
        prepared = self.prepared
        values = strain[prepared.row]
        reached = values >= limit
        for k in np.flatnonzero(reached).tolist():
            if reached[k : k + _STAY].all():
                if k == 0 or not np.isfinite(values[k - 1]):
                    share = 1.0
                else:
                    share = float((limit - values[k - 1]) / (values[k] - values[k - 1]))
                before = max(k - 1, 0)
                d, p = (
                    float(a[before] + share * (a[k] - a[before]))
                    for a in (prepared.deflection, prepared.load)
                )
                return d, p
        dead = int(np.count_nonzero(~np.isfinite(values)))
        self._note(
            "break.gauge-no-yield",
            f"The bar strain did not reach {limit:g} (largest "
            f"{np.max(values[np.isfinite(values)], initial=0.0):.4g}; {dead} samples are not "
            "numbers): no yield by gauge.",
        )
        return None

    def _yield(self, method: str, deflection: float, load: float) -> None:
        by_peak = None if method == GAUGE else self.peak_bound
        more: dict[str, Any] = {"method": method, "bound": by_peak}
        more["point"] = point = self._mark(deflection, load, f"yield, {method}")
        self._add("yield_load", load, "kN", **more)
        self._add("yield_deflection", deflection, "mm", **more)
        self._add("energy_to_yield", self.curve.energy_to(deflection), "kN·mm", **more)
        if deflection > 0.0 and by_peak is None:
            self._add(
                "ductility_deflection",
                self.ultimate / deflection,
                "1",
                method=method,
                bound=self.bound,
                point=point,
            )

    def _post_yield(self, yields: dict[str, tuple[float, float] | None]) -> None:
        """Slope of the least-squares line between yield by the secant and the peak."""
        found = yields[SECANT]
        if found is None:
            return
        line = line_between(
            self.curve.deflection, self.curve.load, found[0], self.curve.peak_deflection
        )
        if line is not None:
            self._add("post_yield_stiffness", line.slope, "kN/mm", method=SECANT)

    # -- energy ----------------------------------------------------------------------------

    def _energies(self) -> None:
        curve = self.curve
        to_peak = curve.energy_to(curve.peak_deflection)
        to_ultimate = curve.energy_to(self.ultimate)
        self._add("energy_to_peak", to_peak, "kN·mm", bound=self.peak_bound)
        self._add("energy_to_ultimate", to_ultimate, "kN·mm", bound=self.bound)
        self._add("energy_to_end", curve.energy_to(curve.end), "kN·mm")
        slope = self._mean_slope()
        if slope is None:
            return
        at_peak = self.settings.ductility_energy_at == "peak"
        load = curve.peak_load if at_peak else curve.load_at(self.ultimate)
        total = to_peak if at_peak else to_ultimate
        ductility = 0.5 * (total * 2.0 * slope / load**2 + 1.0)
        self._add(
            "ductility_energy",
            ductility,
            "1",
            method=f"at {self.settings.ductility_energy_at}",
            bound=self.peak_bound if at_peak else self.bound,
        )

    def _mean_slope(self) -> float | None:
        """Slope of elastic unloading, kN/mm (Naaman and Jeong 1995)."""
        if self.cracked is None or self.cracked.slope <= 0.0:
            return None
        if self.first is None or self.crack is None:
            return self.cracked.slope
        at_crack = self.first(self.crack)
        covered = self.line_end - at_crack
        return (at_crack * self.first.slope + covered * self.cracked.slope) / self.line_end
