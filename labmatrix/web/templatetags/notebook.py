"""Template tags and filters of the notebook; README.md in ``static/web`` shows each in use."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from django import template
from django.core.serializers.json import DjangoJSONEncoder
from django.template import Context
from django.template.loader_tags import BLOCK_CONTEXT_KEY
from django.templatetags.static import static
from django.utils import timezone
from django.utils.html import conditional_escape, escape, format_html
from django.utils.safestring import SafeString, mark_safe

from labmatrix.kernel.clock import iso
from labmatrix.kernel.text import NARROW_SPACE
from labmatrix.web.domain.cautions import caution_of
from labmatrix.web.domain.marks import mark_of
from labmatrix.web.domain.numerals import (
    DEFAULT_DIGITS,
    Numeral,
    numeral,
    uncertainty_text,
)
from labmatrix.web.domain.unit_systems import SI, spread_shown, unit_shown, value_shown
from labmatrix.web.figure_units import payload_shown
from labmatrix.web.tables import Cell, table_cells

register = template.Library()

MISSING = mark_safe(
    '<span class="missing"><span aria-hidden="true">–</span>'
    '<span class="hidden-text">no value</span></span>'
)
INVENTED = "Invented data: made up to show the tool, measured by nobody."
_BOUNDS = {"lower": "≥", "upper": "≤"}
_INSTANT_FORMATS = {"minute": "%Y-%m-%d %H:%M", "second": "%Y-%m-%d %H:%M:%S", "day": "%Y-%m-%d"}


def _system(context: Context) -> str:
    return str(context.get("unit_system") or SI)


def _bound_sign(bound: str) -> str:
    if not bound:
        return ""
    if bound not in _BOUNDS:
        raise ValueError(f"bound is {bound!r}; allowed is lower, upper or nothing")
    return _BOUNDS[bound] + NARROW_SPACE


@register.simple_tag(takes_context=True)
def unit(context: Context, name: str) -> str:
    """A unit's name as the person's unit system has it; nothing for a plain number."""
    shown = unit_shown(name, _system(context))
    return "" if shown == "1" else shown


@register.simple_tag(takes_context=True)
def quantity(
    context: Context,
    value: float | Mapping[str, Any] | None,
    unit: str = "1",
    *,
    u: float | None = None,
    digits: int = DEFAULT_DIGITS,
    bound: str = "",
    show_u: bool = True,
) -> str:
    """A value with its unit: 87.3 kN (u 1.2).

    Args:
        value: a number in ``unit``, or a mapping {value, unit, u?, bound?}; None is a dash.
        unit: unit in which ``value`` and ``u`` are given.
        u: standard uncertainty; decides the last decimal place. Zero and None say nothing.
        digits: significant digits where there is no uncertainty.
        bound: ``lower`` or ``upper`` for a value that was not reached.
        show_u: print the uncertainty beside the value.
    """
    bare: float | None
    if isinstance(value, Mapping):
        bare, unit = value["value"], value["unit"]
        u, bound = value.get("u", u), value.get("bound") or bound
    else:
        bare = value
    if bare is None:
        return MISSING
    system = _system(context)
    shown = value_shown(bare, unit, system)
    spread = spread_shown(u, unit, system) if u else None
    text = numeral(shown, u=spread, digits=digits).text
    shown_unit = unit_shown(unit, system)
    suffix = (
        ""
        if shown_unit == "1"
        else format_html('{}<span class="of">{}</span>', NARROW_SPACE, shown_unit)
    )
    if spread is None or not show_u:
        return format_html('<span class="quantity">{}{}{}</span>', _bound_sign(bound), text, suffix)
    return format_html(
        '<span class="quantity">{}{}{} <span class="u">(<i>u</i>{}{})</span></span>',
        _bound_sign(bound),
        text,
        suffix,
        NARROW_SPACE,
        uncertainty_text(shown, spread),
    )


@register.simple_tag(takes_context=True)
def number(
    context: Context,
    value: float | None,
    *,
    u: float | None = None,
    digits: int = DEFAULT_DIGITS,
    places: int | None = None,
    unit: str = "1",
    bound: str = "",
) -> str:
    """A number for a column, cut at its decimal sign; ``unit`` only so that it is converted."""
    if value is None:
        return MISSING
    system = _system(context)
    spread = spread_shown(u, unit, system) if u else None
    printed = numeral(value_shown(value, unit, system), u=spread, digits=digits, places=places)
    return cut_number(printed, bound)


def cut_number(printed: Numeral, bound: str = "") -> SafeString:
    """The spans by which a column stands aligned on the decimal sign."""
    # Put together as text: a list has hundreds of these, and escaping digits takes longer than all.
    power = format_html('<span class="power">{}</span>', printed.power) if printed.power else ""
    whole, fraction = escape(printed.whole), escape(printed.fraction)
    return SafeString(
        f'<span class="whole">{_bound_sign(bound)}{whole}</span>'
        f'<span class="fraction">{fraction}</span>{power}'
    )


@register.filter
def instant(value: datetime | date | None, style: str = "minute") -> str:
    """An instant in the zone in force: ``minute``, ``second``, ``day`` or ``zone``.

    Raises:
        ValueError: an instant without a zone, or an unknown style.
    """
    if value is None:
        return MISSING
    if not isinstance(value, datetime):
        return format_html('<time datetime="{}">{}</time>', value.isoformat(), value.isoformat())
    if timezone.is_naive(value):
        raise ValueError("an instant needs a time zone")
    if style not in {*_INSTANT_FORMATS, "zone"}:
        raise ValueError(f"style is {style!r}; allowed is minute, second, day or zone")
    local = timezone.localtime(value)
    text = local.strftime(_INSTANT_FORMATS.get(style, _INSTANT_FORMATS["minute"]))
    if style == "zone":
        text += f" {local.tzname()}"
    return format_html('<time datetime="{}">{}</time>', iso(value.astimezone(UTC)), text)


@register.simple_tag
def state_mark(word: str, mark: str = "") -> str:
    """A state as its word and, after it, a small drawn mark."""
    return format_html(
        '<span class="state">{}<svg class="mark" aria-hidden="true" focusable="false">'
        '<use href="{}#mark-{}"></use></svg></span>',
        word,
        static("web/marks.svg"),
        mark_of(mark or word),
    )


@register.inclusion_tag("web/caution.html")
def caution(kind: str, checklist_url: str = "") -> dict[str, Any]:
    """The usual cautions for a kind of work, in one line."""
    return {"caution": caution_of(kind), "checklist_url": checklist_url}


@register.filter
def is_listed(value: object) -> bool:
    """Whether a fact is a list to be shown line by line."""
    return isinstance(value, list | tuple)


@register.filter
def in_words(name: str) -> str:
    """A fact's name as a person reads it: ``booked_until`` becomes "Booked until"."""
    words = name.replace("_", " ").strip()
    return words[:1].upper() + words[1:]


@register.filter
def as_sentence(value: object) -> str:
    """A fact in words: an error of a row as "Row 3: …", a mapping as "name: value; …"."""
    if isinstance(value, Mapping):
        if "row" in value and "message" in value:
            return f"Row {value['row']}: {value['message']}"
        return "; ".join(f"{name}: {as_sentence(item)}" for name, item in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(as_sentence(item) for item in value)
    return "–" if value is None else str(value)


@register.simple_tag(takes_context=True)
def repeat_block(context: Context, name: str) -> str:
    """What another block of the page renders, so that a title is written once."""
    blocks = context.render_context.get(BLOCK_CONTEXT_KEY)
    block = blocks.get_block(name) if blocks else None
    return block.render(context) if block else ""


@register.simple_tag
def invented_sentence(notice: object) -> str:
    """The notice when it is a sentence, else the usual one."""
    return notice if isinstance(notice, str) else INVENTED


@register.inclusion_tag("web/data_table.html", takes_context=True)
def data_table(context: Context, table: Mapping[str, Any]) -> dict[str, Any]:
    """A table with rules, units in its heads and numbers aligned on the decimal sign.

    Args:
        context: for the unit system.
        table: {"caption"?, "wide"?, "columns": [{"label", "unit"?, "digits"?, "kind"?}],
            "rows": [[…]]}.
    """
    return _table_context(context, table)


def _table_context(context: Context, table: Mapping[str, Any]) -> dict[str, Any]:
    heads, rows = table_cells(table["columns"], table["rows"], _system(context))
    html_rows = [
        [
            {
                "html": _cell_html(cell),
                "places": cell.places,
                "row_head": cell.row_head,
            }
            for cell in row
        ]
        for row in rows
    ]
    return {
        "caption": table.get("caption", ""),
        "heads": heads,
        "rows": html_rows,
        "wide": table.get("wide", False),
    }


def _cell_html(cell: Cell) -> str:
    if cell.content is None:
        return MISSING
    if isinstance(cell.content, Numeral):
        html = cut_number(cell.content, cell.bound)
    else:
        html = conditional_escape(cell.content)
    return format_html('<a href="{}">{}</a>', cell.url, html) if cell.url else html


class _StrictEncoder(DjangoJSONEncoder):
    """Refuses NaN and infinity, which no browser can parse."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{**options, "allow_nan": False})


def page_json(value: Any, name: str) -> SafeString:
    """Data of a page for its scripts, as Django's ``json_script`` writes it.

    A hundred curves are a megabyte of digits: three searches take a tenth of the time of a look
    at every character.

    Raises:
        ValueError: a number that is not finite.
    """
    text = json.dumps(value, cls=_StrictEncoder)
    for character in "<>&":
        text = text.replace(character, f"\\u{ord(character):04X}")
    return format_html(
        '<script id="{}" type="application/json">{}</script>', name, SafeString(text)
    )


@register.inclusion_tag("web/figure.html", takes_context=True)
def figure(
    context: Context,
    *,
    number: int | str,
    caption: str,
    payload: Mapping[str, Any],
    table: Mapping[str, Any],
    key: str = "",
    wide: bool = False,
    tall: bool = False,
) -> dict[str, Any]:
    """A numbered figure that Plotly draws, with its caption and its data table.

    Args:
        context: for the person's unit system: axes, points and the data table follow it.
        number: the figure's number on this page.
        caption: a sentence that says what is seen and for how many specimens.
        payload: {"data": […], "layout": {…}, "kind"?}, JSON-ready, in base units.
        table: as for ``data_table``; the figure's text alternative.
        key: part of the ids, when two figures of a page share a number.
        wide: over the margin too.
        tall: higher, for small multiples.

    Raises:
        ValueError: the payload holds a number that is not finite (use None for a gap).
    """
    name = f"figure-{key or number}"
    return {
        **_table_context(context, {**table, "caption": ""}),
        "name": name,
        "number": number,
        "figure_caption": caption,
        "json": page_json(payload_shown(payload, _system(context)), f"{name}-data"),
        "wide": wide,
        "tall": tall,
    }
