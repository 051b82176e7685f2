"""Who may do what: the one table of roles and actions. Plain Python."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from labmatrix.kernel.errors import NotFound


class Role(StrEnum):
    """A person's part, in the laboratory or in one programme."""

    LEAD = "lead"
    MANAGER = "manager"
    TECHNICIAN = "technician"
    SPONSOR = "sponsor"


class Action(StrEnum):
    """What can be asked for, in the words that a refusal uses."""

    SEE_PROGRAMME = "see the programme"
    SEE_WORK = "see work in progress"
    PLAN_MATRIX = "plan the matrix"
    CREATE_SPECIMEN = "create specimens"
    KEEP_MATERIALS = "add lots of material"
    LOG_EVENT = "log events"
    UPLOAD_RECORD = "upload records"
    ASK_REDUCTION = "ask for another reduction"
    ASK_PREDICTION = "ask for predictions"
    ASK_WHAT_IF = "ask what an error of a sensor would change"
    JUDGE = "judge a deviation"
    RELEASE = "release results"
    TAKE_HISTORY = "take in finished specimens"
    CORRECT_IMPORTED = "correct an imported number"
    SEE_MACHINES = "see machines and sensors"
    RUN_MACHINES = "change machines, sensors and calibrations"
    START_PROGRAMME = "start a programme"
    LET_PEOPLE_IN = "let people in and see them out"


_L, _M, _T, _S = Role.LEAD, Role.MANAGER, Role.TECHNICIAN, Role.SPONSOR
ALLOWED: Mapping[Action, frozenset[Role]] = MappingProxyType(
    {
        Action.SEE_PROGRAMME: frozenset({_L, _M, _T, _S}),
        Action.SEE_WORK: frozenset({_L, _M, _T}),
        Action.PLAN_MATRIX: frozenset({_L}),
        Action.CREATE_SPECIMEN: frozenset({_L, _M}),
        Action.KEEP_MATERIALS: frozenset({_L, _M}),
        Action.LOG_EVENT: frozenset({_L, _M, _T}),
        Action.UPLOAD_RECORD: frozenset({_L, _M, _T}),
        Action.ASK_REDUCTION: frozenset({_L, _M}),
        Action.ASK_PREDICTION: frozenset({_L, _M}),
        Action.ASK_WHAT_IF: frozenset({_L, _M}),
        Action.JUDGE: frozenset({_L}),
        Action.RELEASE: frozenset({_L}),
        Action.TAKE_HISTORY: frozenset({_L}),
        Action.CORRECT_IMPORTED: frozenset({_L}),
        Action.SEE_MACHINES: frozenset({_L, _M, _T}),
        Action.RUN_MACHINES: frozenset({_L, _M}),
        Action.START_PROGRAMME: frozenset({_L}),
        Action.LET_PEOPLE_IN: frozenset({_L}),
    }
)

NOT_YOURS = "It is not there, or it is not yours."
NOT_ALLOWED = "To {action} takes the role {roles}; yours here is {role}."


def allowed(role: Role | None, action: Action) -> bool:
    """Whether a role may do an action; no role may do nothing."""
    return role is not None and role in ALLOWED[action]


def require(role: Role | None, action: Action) -> None:
    """Refuse what a role may not do.

    Raises:
        NotFound: ``access.not-yours`` for a stranger, ``access.not-allowed`` for a member whose
            role does not reach; both answer 404, so nothing is given away.
    """
    if role is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    if not allowed(role, action):
        roles = " or ".join(sorted(ALLOWED[action]))
        raise NotFound(
            "access.not-allowed",
            NOT_ALLOWED.format(action=action, roles=roles, role=role),
            action=str(action),
            role=str(role),
        )
