"""A figure of the notebook as SVG, PNG or its data, from the same payload that pages draw."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from labmatrix.kernel.errors import ShapeError
from results.takeaway.wording import plain_text, safe_cell

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FIGURE_TYPES = {
    "svg": "image/svg+xml",
    "png": "image/png",
    "csv": "text/csv; charset=utf-8",
}
UNKNOWN = "A figure was asked for as {given!r}; allowed are {allowed}."
# Okabe and Ito's set in the order of the notebook, each with its own line and marker.
_LEVELS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#f0e442")
_DASHES: tuple[Any, ...] = (
    "-", (0, (8, 2)), (0, (1.5, 2)), (0, (7, 2, 1.5, 2)), (0, (12, 3, 3, 3)), (0, (3, 1.5)),
    (0, (1, 4)),
)  # fmt: skip
_MARKERS = ("o", "s", "D", "^", "v", "p", "h")
_INK, _GREY = "#1c1b19", "#6f6b64"
_SIZE_IN = (7.2, 5.0)
_DOTS_PER_INCH = 200


def figure_as(
    kind: str,
    payload: Mapping[str, Any],
    *,
    caption: str,
    footer: Sequence[str],
    logarithmic: bool = False,
) -> bytes:
    """The file's bytes.

    Args:
        kind: ``svg``, ``png`` or ``csv``.
        payload: as the pages draw it.
        caption: stands below the drawing.
        footer: lines that say n, version and origin.
        logarithmic: the horizontal axis, where all of it lies above zero.

    Raises:
        ShapeError: ``takeaway.format``.
    """
    if kind not in FIGURE_TYPES:
        words = UNKNOWN.format(given=kind, allowed=", ".join(FIGURE_TYPES))
        raise ShapeError("takeaway.format", words, allowed=list(FIGURE_TYPES))
    if kind == "csv":
        return _data(payload, caption, footer)
    return _drawing(kind, payload, caption, footer, logarithmic)


def _titles(payload: Mapping[str, Any]) -> tuple[str, str]:
    layout = payload["layout"]
    return str(layout["xaxis"]["title"]["text"]), str(layout["yaxis"]["title"]["text"])


def data_rows(payload: Mapping[str, Any]) -> Iterator[list[Any]]:
    """Every point drawn: curve, specimen, x, y; the heading first, with units."""
    titles = (title.replace("(", "[").replace(")", "]") for title in _titles(payload))
    yield ["curve", "specimen", *(safe_cell(title) for title in titles)]
    for trace in payload["data"]:
        name, specimens = trace.get("name", ""), _specimens(trace)
        for x, y, specimen in zip(trace["x"], trace["y"], specimens, strict=True):
            yield [safe_cell(name), safe_cell(specimen), safe_cell(x), safe_cell(y)]


def _specimens(trace: Mapping[str, Any]) -> list[Any]:
    """Whose each point is: one specimen's curve, or points of several."""
    texts = trace.get("text", "")
    named = trace["meta"].get("specimen", "")
    is_each = isinstance(texts, list) and not named and trace["meta"].get("role") != "mark"
    return texts if is_each else [named] * len(trace["x"])


def _data(payload: Mapping[str, Any], caption: str, footer: Sequence[str]) -> bytes:
    sink = io.StringIO()
    writer = csv.writer(sink)
    writer.writerows(data_rows(payload))
    writer.writerow([])
    writer.writerows([safe_cell(line)] for line in (caption, *footer))
    return sink.getvalue().encode("utf-8-sig")


def _drawing(
    kind: str,
    payload: Mapping[str, Any],
    caption: str,
    footer: Sequence[str],
    logarithmic: bool,
) -> bytes:
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE_IN, dpi=_DOTS_PER_INCH, layout="constrained")
    axes = figure.add_subplot()
    for trace in payload["data"]:
        _trace(axes, trace)
    _frame(axes, payload, logarithmic)
    _legend(figure, payload)
    words = "\n".join(_wrapped(plain_text(line)) for line in (caption, *footer))
    figure.supxlabel(words, fontsize=7, color=_GREY, ha="left", x=0.01, parse_math=False)
    sink = io.BytesIO()
    # Without a date the same figure gives the same file.
    metadata = {"Date": None} if kind == "svg" else None
    figure.savefig(sink, format=kind, metadata=metadata)
    return sink.getvalue()


def _wrapped(line: str, width: int = 140) -> str:
    import textwrap

    return "\n".join(textwrap.wrap(line, width))


def _look(trace: Mapping[str, Any]) -> dict[str, Any]:
    meta = trace["meta"]
    if meta.get("control"):
        return {"color": _INK, "linestyle": (0, (5, 3)), "linewidth": 1.4, "zorder": 3}
    if meta.get("role") == "raw":
        return {"color": _GREY, "linestyle": "-", "linewidth": 0.6}
    if meta.get("role") == "prediction":
        return {"color": _GREY, "linestyle": ":", "linewidth": 1.4}
    place = int(meta.get("level", 0)) % len(_LEVELS)
    return {"color": _LEVELS[place], "linestyle": _DASHES[place], "linewidth": 1.2}


def _joined(trace: Mapping[str, Any], look: dict[str, Any]) -> dict[str, Any]:
    """The look of a trace whose points alone are drawn: no line between them."""
    return look | {"linestyle": "none"} if trace.get("mode") == "markers" else look


def _marker(trace: Mapping[str, Any]) -> dict[str, Any]:
    if "markers" not in trace.get("mode", ""):
        return {}
    level = trace["meta"].get("level")
    symbol = "o" if level is None else _MARKERS[int(level) % len(_MARKERS)]
    return {"marker": symbol, "markersize": 3.5}


def _trace(axes: Axes, trace: Mapping[str, Any]) -> None:
    x = [float("nan") if v is None else float(v) for v in trace["x"]]
    y = [float("nan") if v is None else float(v) for v in trace["y"]]
    role = trace["meta"].get("role", "")
    if role == "interval":
        axes.fill(x, y, color=_GREY, alpha=0.2, linewidth=0)
    elif role == "mark":
        axes.plot(x, y, "o", color=_INK, markersize=4, markerfacecolor="white")
        texts = trace.get("text", "")
        for at, named in enumerate([] if isinstance(texts, str) else texts):
            where = (x[at], y[at])
            axes.annotate(
                plain_text(str(named)), where, (4, 4), textcoords="offset points", fontsize=7,
                parse_math=False,
            )  # fmt: skip
    else:
        look = _joined(trace, _look(trace))
        bars = trace.get("error_y")
        if bars:
            axes.errorbar(
                x, y, yerr=bars["array"], fmt="none", ecolor=look["color"], capsize=3, linewidth=1
            )
        axes.plot(x, y, **look, **_marker(trace))


def _frame(axes: Axes, payload: Mapping[str, Any], logarithmic: bool) -> None:
    titles, layout = _titles(payload), payload["layout"]
    axes.set_xlabel(plain_text(titles[0]), parse_math=False)
    axes.set_ylabel(plain_text(titles[1]), parse_math=False)
    x = [v for trace in payload["data"] for v in trace["x"] if v is not None]
    if logarithmic and x and min(x) > 0:
        axes.set_xscale("log")
    elif "range" in layout["xaxis"]:
        axes.set_xlim(*layout["xaxis"]["range"])
    if "ticktext" in layout["xaxis"]:
        axes.set_xticks(layout["xaxis"]["tickvals"], layout["xaxis"]["ticktext"], rotation=30)
    if "range" in layout["yaxis"]:
        axes.set_ylim(*layout["yaxis"]["range"])
    axes.ticklabel_format(axis="y", style="plain", useOffset=False)
    if not (logarithmic and x and min(x) > 0) and "ticktext" not in layout["xaxis"]:
        axes.ticklabel_format(axis="x", style="plain", useOffset=False)
    axes.spines[["top", "right"]].set_visible(False)


def _legend(figure: Figure, payload: Mapping[str, Any]) -> None:
    """Above the drawing, one entry for each name with the first trace's look."""
    from matplotlib.lines import Line2D

    looks: dict[str, Any] = {}
    for trace in payload["data"]:
        name = plain_text(str(trace.get("name", "")))
        is_shown = trace.get("showlegend", True) or name in looks
        if name and name not in looks and is_shown and trace["meta"].get("role") != "interval":
            looks[name] = Line2D([], [], **_joined(trace, _look(trace)), **_marker(trace))
    if looks:
        legend = figure.legend(
            list(looks.values()),
            list(looks),
            loc="outside upper left",
            ncols=4,
            frameon=False,
            fontsize=8,
            handlelength=3.2,
        )
        for text in legend.get_texts():
            text.set_parse_math(False)
