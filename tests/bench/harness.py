"""How a bench is run and told; a bench is one module beside this one.

A bench measures jobs in turn (first, second, …, first, second, …) so that a busy machine is unfair
to all of them alike, and states rows::

    def main() -> None:
        bench = Bench("cyclic_csv", versions=("polars", "numba"))
        runs = interleaved({"ours": ours, "polars": peer}, repeats=bench.repeats)
        bench.ratio(
            "cyclic-csv",
            "CSV to per-cycle table against polars' mere parse",
            runs,
            of="ours",
            to="polars",
            goal=Goal("A1", 0.6),
            claims={"values bit-identical": same},
        )
        bench.end()

A claim is about correctness: one that does not hold ends the bench with an error. A goal is about
speed, memory or size: one that is missed is written down with the words of ``remark``.

``STRONGFLOOR_BENCH_SCALE=0.01`` makes the same bench small, so that a test can run it for its
claims. Runs at full size are appended to ``results.jsonl``, of which ``RESULTS.md`` shows the last
of each row; others are kept only where ``STRONGFLOOR_BENCH_RESULTS`` names a file.
``python -m tests.bench.harness`` writes ``RESULTS.md`` anew, for instance after a merge.
"""

from __future__ import annotations

import gc
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from statistics import median
from typing import Any

from tests.bench.made.results_page import results_page

HERE = Path(__file__).resolve().parent
RESULTS, PAGE = HERE / "results.jsonl", HERE / "RESULTS.md"
SCALE = float(os.environ.get("STRONGFLOOR_BENCH_SCALE", "1"))
_KIB = 1024.0


def scaled(number: int, least: int = 1) -> int:
    """A number of rows, specimens or points at the scale of this run, at least ``least``."""
    return max(least, round(number * SCALE))


@dataclass(frozen=True)
class Goal:
    """What a figure should reach.

    Attributes:
        name: as people call the goal.
        limit: the figure that is just good enough.
        at_most: whether smaller is better.
    """

    name: str
    limit: float
    at_most: bool = True

    def reached(self, figure: float) -> bool:
        """Whether a figure is good enough."""
        return figure <= self.limit if self.at_most else figure >= self.limit


@dataclass
class Runs:
    """Seconds of several jobs that were run in turn, and what each gave the last time.

    Attributes:
        seconds: by the clock on the wall, by job.
        cpu: of all processors together in this process, by job; children are not in them.
        values: what each job gave the last time.
    """

    seconds: dict[str, list[float]] = field(default_factory=dict)
    cpu: dict[str, list[float]] = field(default_factory=dict)
    values: dict[str, Any] = field(default_factory=dict)

    def best(self, job: str) -> float:
        """The shortest time of a job, s."""
        return min(self.seconds[job])

    def median(self, job: str) -> float:
        """The median time of a job, s."""
        return median(self.seconds[job])

    def cpu_ratio(self, job: str, peer: str) -> float:
        """Least processor time of a job over that of its peer; others on the machine do not
        change it much, and it says nothing about waiting or idle cores."""
        return min(self.cpu[job]) / max(min(self.cpu[peer]), 1e-9)

    def ratio(self, job: str, peer: str) -> float:
        """Best time of a job over best time of its peer: the fairer one on a busy machine."""
        return self.best(job) / self.best(peer)

    def median_ratio(self, job: str, peer: str) -> float:
        """Median time of a job over median time of its peer."""
        return self.median(job) / self.median(peer)


def interleaved(
    jobs: Mapping[str, Callable[[], Any]], *, repeats: int = 3, warm: bool = False
) -> Runs:
    """Runs the jobs in turn.

    Args:
        jobs: what to time, by name.
        repeats: how often each.
        warm: whether each runs once untimed before, so that compilers and caches are ready.
    """
    runs = Runs({name: [] for name in jobs}, {name: [] for name in jobs})
    for turn in range(-warm, repeats):
        for name, job in jobs.items():
            runs.values.pop(name, None)
            gc.collect()
            begun, begun_cpu = time.perf_counter(), time.process_time()
            runs.values[name] = job()
            if turn >= 0:
                runs.seconds[name].append(time.perf_counter() - begun)
                runs.cpu[name].append(time.process_time() - begun_cpu)
    return runs


@dataclass(frozen=True)
class Child:
    """A process of its own: how long it took, its largest memory, and the JSON it said last."""

    seconds: float
    peak_mib: float
    said: Any


def child(module: str, *arguments: str) -> Child:
    """``python -m module arguments`` in a fresh process.

    Raises:
        RuntimeError: it ended with an error; its words are in the message.
    """
    command = [sys.executable, "-m", module, *arguments]
    begun = time.perf_counter()
    with tempfile.TemporaryFile() as said, tempfile.TemporaryFile() as wrong:
        process = subprocess.Popen(command, stdout=said, stderr=wrong, cwd=HERE.parents[1])
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        seconds = time.perf_counter() - begun
        said.seek(0)
        wrong.seek(0)
        if process.returncode:
            raise RuntimeError(f"{' '.join(command)} failed:\n{wrong.read().decode()}")
        lines = said.read().decode().splitlines()
    last = json.loads(lines[-1]) if lines else None
    return Child(seconds, usage.ru_maxrss / _KIB, last)


def say(value: Any) -> None:
    """What a child says to the bench that started it: one line of JSON."""
    print(json.dumps(value), flush=True)


def machine(versions: Sequence[str] = ()) -> dict[str, Any]:
    """Processor, cores, memory, load before the run, and versions."""
    return {
        "cpu": _cpu(),
        "cores": len(os.sched_getaffinity(0)),
        "memory_gib": round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30, 1),
        "load": round(os.getloadavg()[0], 1),
        "python": platform.python_version(),
        "versions": {name: version(name) for name in versions},
    }


def _cpu() -> str:
    for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
        name, _, words = line.partition(":")
        if name.strip() == "model name":
            return words.strip()
    return platform.processor() or platform.machine()


class Bench:
    """The rows of one bench.

    Args:
        name: of the bench.
        versions: packages whose versions matter.
        repeats: how often each job runs at full size; once at a smaller scale.
    """

    def __init__(self, name: str, *, versions: Sequence[str] = (), repeats: int = 3) -> None:
        self.name = name
        self.repeats = repeats if SCALE >= 1.0 else 1
        self._head = {
            "bench": name,
            "at": datetime.now(UTC).isoformat(timespec="seconds"),
            "scale": SCALE,
            "machine": machine(("numpy", *versions)),
        }
        self._rows: list[dict[str, Any]] = []

    def row(
        self,
        row: str,
        title: str,
        *,
        figure: float,
        unit: str = "×",
        goal: Goal | None = None,
        runs: Runs | None = None,
        facts: Mapping[str, Any] | None = None,
        claims: Mapping[str, bool] | None = None,
        remark: str = "",
    ) -> None:
        """States one row.

        Args:
            row: its name, one of its own in all benches.
            title: what is measured against what, in words.
            figure: the number that the goal is about; a ratio of times is that of the best runs.
            unit: of the figure.
            goal: what it should reach.
            runs: the times behind it; medians and single runs are kept with the row.
            facts: other numbers or words worth keeping, JSON-ready.
            claims: what must hold for the figure to mean anything, and whether it does.
            remark: where the time goes and what was tried; shown where the goal is missed.
        """
        seconds = {} if runs is None else runs.seconds
        told = {
            **self._head,
            "row": row,
            "title": title,
            "figure": figure,
            "unit": unit,
            "goal": goal and {"name": goal.name, "limit": goal.limit, "at_most": goal.at_most},
            "reached": goal and goal.reached(figure),
            "seconds": {job: [round(s, 6) for s in times] for job, times in seconds.items()},
            "facts": dict(facts or {}),
            "claims": {words: bool(held) for words, held in (claims or {}).items()},
            "remark": remark,
        }
        self._rows.append(told)
        _print(told)

    def ratio(
        self,
        row: str,
        title: str,
        runs: Runs,
        *,
        of: str,
        to: str,
        facts: Mapping[str, Any] | None = None,
        **more: Any,
    ) -> None:
        """States the best time of one job over that of another, with the ratio of medians.

        Args:
            row, title: as in ``row``.
            runs: with both jobs.
            of, to: the two jobs; for "how many times faster" the peer comes first.
            facts, more: as in ``row``.
        """
        medians = {
            "ratio of medians": f"{runs.median_ratio(of, to):.4g} ×",
            "ratio of processor time": f"{runs.cpu_ratio(of, to):.4g} ×",
        }
        figure = runs.ratio(of, to)
        self.row(row, title, figure=figure, runs=runs, facts=medians | dict(facts or {}), **more)

    def end(self) -> None:
        """Keeps the rows; ends the process with an error where a claim does not hold."""
        path = os.environ.get("STRONGFLOOR_BENCH_RESULTS")
        if path or SCALE >= 1.0:
            with Path(path or RESULTS).open("a", encoding="utf-8") as stream:
                stream.writelines(json.dumps(r, ensure_ascii=False) + "\n" for r in self._rows)
        if not path and SCALE >= 1.0:
            write_page()
        broken = [w for row in self._rows for w, held in row["claims"].items() if not held]
        if broken:
            raise SystemExit(f"{self.name}: does not hold: {'; '.join(broken)}")


def _print(row: Mapping[str, Any]) -> None:
    goal, outcome = row["goal"], ""
    if goal is not None:
        sign = "≤" if goal["at_most"] else "≥"
        word = "reached" if row["reached"] else "MISSED"
        outcome = f"   goal {goal['name']} {sign} {goal['limit']:g}: {word}"
    print(f"{row['title']}: {row['figure']:.4g} {row['unit']}{outcome}")
    for job, times in row["seconds"].items():
        each = ", ".join(f"{s:.4g}" for s in times)
        print(f"  {job:<24} median {median(times):.4g} s, best {min(times):.4g} s ({each})")
    for words, value in row["facts"].items():
        print(f"  {words}: {value}")
    for words, held in row["claims"].items():
        print(f"  {'holds' if held else 'DOES NOT HOLD'}: {words}")
    sys.stdout.flush()


def write_page() -> None:
    """``RESULTS.md`` from ``results.jsonl``."""
    rows = [json.loads(line) for line in RESULTS.read_text(encoding="utf-8").splitlines() if line]
    PAGE.write_text(results_page(rows), encoding="utf-8")


if __name__ == "__main__":
    write_page()
