"""What of a planned cell can still be changed, by what was made of it already."""

from __future__ import annotations

from dataclasses import dataclass

from labmatrix.kernel.errors import RuleBroken, ShapeError

BELOW_MADE = (
    "{cell} is asked to have {asked} specimens planned, and {created} carry a label already; "
    "allowed are {created} or more. A specimen that will not be tested is logged as lost."
)
CANNOT_WITHDRAW = (
    "{cell} cannot be withdrawn: {created} of its specimens carry a label already. Plan no more "
    "than {created}, and log what will not be tested as lost."
)
REASON_CELL = (
    "Say why: {cast} cast of {cell} already, so whoever reads the results must see what was "
    "changed after it."
)
REASON_SERIES = (
    "Say why: {cast} cast in this series already, so whoever reads the results must see what was "
    "changed after it."
)
CHANGED_MEANWHILE = (
    "The plan of {cell} was changed since you looked at it. Nothing is written; look at it as it "
    "is now and say again what you want."
)
BEFORE_CASTING = "changed before anything was cast"
ADDED = "cell added"
WITHDRAWN = "withdrawn before anything was cast"

KEEPS_CODE = "Its code and its levels stay: the code is printed on {labels}."
KEEPS_COMBINATION = "Its code and its levels stay; another combination is another cell."
KEEPS_COUNT = (
    "It cannot be planned with fewer than {created}, nor withdrawn, since so many have a label."
)
KEEPS_ROUTE = (
    "{specimens} the route of the day on which the label was made; a changed route counts for "
    "later specimens only."
)


@dataclass(frozen=True)
class Made:
    """How many specimens of a cell, or of a series, have a label, and of how many work began."""

    created: int = 0
    cast: int = 0

    def __add__(self, other: Made) -> Made:
        return Made(self.created + other.created, self.cast + other.cast)


def check_planned(cell: str, replicates: int, made: Made) -> None:
    """Refuse fewer planned specimens than carry a label.

    Args:
        cell: its code.
        replicates: planned specimens asked for.
        made: of this cell.

    Raises:
        RuleBroken: ``cell.below-made``, or ``cell.withdraw-made`` for none at all.
    """
    if replicates >= made.created:
        return
    facts = {"cell": cell, "asked": replicates, "created": made.created}
    if replicates == 0:
        raise RuleBroken("cell.withdraw-made", CANNOT_WITHDRAW.format(**facts), **facts)
    raise RuleBroken("cell.below-made", BELOW_MADE.format(**facts), **facts)


def reason_for_cell(why: str, cell: str, made: Made) -> str:
    """The reason of a change: demanded once anything of the cell was cast.

    Args:
        why: the reason given, may be empty.
        cell: its code.
        made: of this cell.

    Raises:
        ShapeError: ``cell.reason``.
    """
    return _reason(why, BEFORE_CASTING, REASON_CELL, made, cell=cell)


def reason_for_series(why: str, usual: str, made: Made) -> str:
    """The reason of a new or a withdrawn cell: demanded once anything of the series was cast.

    Args:
        why: the reason given, may be empty.
        usual: what the ledger says where none is demanded.
        made: of the whole series.

    Raises:
        ShapeError: ``cell.reason``.
    """
    return _reason(why, usual, REASON_SERIES, made)


def _reason(why: str, usual: str, sentence: str, made: Made, **said: str) -> str:
    if why.strip():
        return why
    if made.cast == 0:
        return usual
    cast = _counted(made.cast, "specimen was", "specimens were")
    raise ShapeError("cell.reason", sentence.format(cast=cast, **said), column="why")


def what_stays(made: Made) -> tuple[str, ...]:
    """Sentences on what of a cell cannot be changed any more, and why."""
    if made.created == 0:
        return (KEEPS_COMBINATION,)
    labels = _counted(made.created, "label", "labels")
    told = [KEEPS_CODE.format(labels=labels)]
    told.append(KEEPS_COUNT.format(created=_counted(made.created, "specimen", "specimens")))
    specimens = _counted(made.created, "specimen keeps", "specimens keep")
    told.append(KEEPS_ROUTE.format(specimens=specimens))
    return tuple(told)


def check_seen(seen: str, now: str, cell: str) -> None:
    """Refuse to write over what another person changed since.

    Args:
        seen: stamp of the plan that the person looked at; empty where none was kept.
        now: stamp of the plan as it stands.
        cell: its code.

    Raises:
        RuleBroken: ``cell.changed-meanwhile``.
    """
    if seen and seen != now:
        raise RuleBroken("cell.changed-meanwhile", CHANGED_MEANWHILE.format(cell=cell), cell=cell)


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
