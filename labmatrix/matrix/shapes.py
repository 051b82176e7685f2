"""Shapes of requests and answers of this room's API, for reading and for the OpenAPI document."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from labmatrix.matrix.domain.code import (
    DEFAULT_TEMPLATE,
    PROGRAMME_CODE_MAX,
    SERIES_CODE_MAX,
)
from labmatrix.matrix.domain.design import REPLICATES_MAX, FactorKind, FactorPart
from labmatrix.matrix.models import Series
from labmatrix.web.domain.roles import Role

Shape = serializers.Serializer[Any]
# Named here, so that the OpenAPI document does not make up a name for each.
ROLES = [str(role) for role in Role]


class ProgrammeRow(Shape):
    """A programme as lists show it."""

    code = serializers.CharField()
    title = serializers.CharField()
    sponsor_question = serializers.CharField(allow_blank=True)
    starts_on = serializers.DateField(allow_null=True)
    ends_on = serializers.DateField(allow_null=True)
    is_invented = serializers.BooleanField()
    role = serializers.ChoiceField(ROLES, help_text="The person's own part.")
    series_count = serializers.IntegerField()
    cell_count = serializers.IntegerField()
    planned = serializers.IntegerField(help_text="Specimens planned.")


class SeriesRow(Shape):
    """A series as lists show it."""

    code = serializers.CharField()
    programme = serializers.CharField()
    title = serializers.CharField()
    specimen_type = serializers.ChoiceField(Series.SpecimenType.values)
    code_template = serializers.CharField()
    cell_count = serializers.IntegerField()
    planned = serializers.IntegerField(help_text="Specimens planned.")


class MemberShape(Shape):
    """A person's part in a programme."""

    name = serializers.CharField()
    role = serializers.ChoiceField(ROLES)


class ProgrammeDetail(ProgrammeRow):
    """A programme with its series; its people are for those who work in it."""

    series = SeriesRow(many=True)
    members = MemberShape(many=True)


class LevelShape(Shape):
    """One value of a factor."""

    value = serializers.CharField()
    number = serializers.FloatField(allow_null=True, help_text="In the factor's unit.")
    code = serializers.CharField()
    # The name hides an attribute of the serializer that is not used below the top.
    label = serializers.CharField(allow_blank=True)  # type: ignore[assignment]


class FactorShape(Shape):
    """A variable of the matrix."""

    name = serializers.CharField()
    kind = serializers.ChoiceField([str(kind) for kind in FactorKind])
    unit = serializers.CharField(allow_blank=True)
    part = serializers.ChoiceField([str(part) for part in FactorPart])
    open = serializers.BooleanField(help_text="Whether a matrix file may bring further levels.")
    control = serializers.CharField(allow_null=True, help_text="The level that means none.")
    levels = LevelShape(many=True)


class ForbiddenShape(Shape):
    """Levels that never go together."""

    levels = serializers.DictField(child=serializers.CharField())
    why = serializers.CharField()


class RemarkShape(Shape):
    """Something to know about a cell's controls."""

    cell = serializers.CharField()
    kind = serializers.CharField(help_text="gain control or conditioning control.")
    words = serializers.CharField()


class SeriesDetail(SeriesRow):
    """A series with all but its cells."""

    route = serializers.DictField(help_text="Template of routes: {stages: [...]}.")
    member = serializers.DictField(help_text="As specified, the unit in each name.")
    responses = serializers.ListField(child=serializers.CharField())
    factors = FactorShape(many=True)
    forbidden = ForbiddenShape(many=True)
    remarks = RemarkShape(many=True)


class CellRow(Shape):
    """One combination of levels with what is planned for it."""

    code = serializers.CharField()
    series = serializers.CharField()
    programme = serializers.CharField()
    levels = serializers.DictField(
        help_text="By factor: a name, or for a number a quantity {value, unit}."
    )
    replicates = serializers.IntegerField()
    gain_control = serializers.CharField(allow_null=True)
    conditioning_control = serializers.CharField(allow_null=True)
    note = serializers.CharField(allow_blank=True, help_text="For those who work in the programme.")


class CellDetail(CellRow):
    """A cell with what was made of it and what cannot be changed any more."""

    created = serializers.IntegerField(help_text="Specimens that carry a label.")
    cast = serializers.IntegerField(help_text="Specimens on which work began.")
    stays = serializers.ListField(
        child=serializers.CharField(), help_text="What cannot be changed any more, in sentences."
    )
    seen = serializers.CharField(help_text="Stamp of the plan; send it back with a change.")


class CellAddRequest(Shape):
    """Plan one cell."""

    levels = serializers.DictField(
        child=serializers.CharField(), help_text="Of every factor, by its name, in its unit."
    )
    replicates = serializers.IntegerField(min_value=0, max_value=REPLICATES_MAX)
    code = serializers.CharField(default="", allow_blank=True)
    gain_control = serializers.CharField(
        default="", allow_blank=True, help_text="A code, none, or empty for what follows."
    )
    conditioning_control = serializers.CharField(default="", allow_blank=True)
    note = serializers.CharField(default="", allow_blank=True)
    why = serializers.CharField(
        default="", allow_blank=True, help_text="Needed once anything of the series was cast."
    )


class CellChangeRequest(Shape):
    """Change what is planned for a cell; what is left out stays."""

    replicates = serializers.IntegerField(required=False, min_value=0, max_value=REPLICATES_MAX)
    gain_control = serializers.CharField(required=False, allow_null=True, allow_blank=True)
    conditioning_control = serializers.CharField(required=False, allow_null=True, allow_blank=True)
    note = serializers.CharField(required=False, allow_blank=True)
    why = serializers.CharField(
        default="", allow_blank=True, help_text="Needed once anything of the cell was cast."
    )
    seen = serializers.CharField(
        default="", allow_blank=True, help_text="Stamp of the plan that was looked at."
    )


class CellWithdrawRequest(Shape):
    """Plan no specimens of a cell any more."""

    why = serializers.CharField(
        default="", allow_blank=True, help_text="Needed once anything of the series was cast."
    )
    seen = serializers.CharField(default="", allow_blank=True)


class ProgrammeCreateRequest(Shape):
    """Start a programme."""

    code = serializers.CharField(max_length=PROGRAMME_CODE_MAX)
    title = serializers.CharField()
    sponsor_question = serializers.CharField(allow_blank=True, default="")
    starts_on = serializers.DateField(allow_null=True, default=None)
    ends_on = serializers.DateField(allow_null=True, default=None)
    is_invented = serializers.BooleanField(default=False)


class SeriesCreateRequest(Shape):
    """Start a series in a programme."""

    programme = serializers.CharField(max_length=PROGRAMME_CODE_MAX)
    code = serializers.CharField(max_length=SERIES_CODE_MAX)
    title = serializers.CharField()
    specimen_type = serializers.CharField(
        help_text=f"One of {', '.join(Series.SpecimenType.values)}."
    )
    code_template = serializers.CharField(default=DEFAULT_TEMPLATE)
    route = serializers.DictField(default=dict)
    member = serializers.DictField(default=dict)
    responses = serializers.ListField(child=serializers.CharField(), default=list)


class MatrixFileRequest(Shape):
    """A matrix as a file, or instead of it the JSON form as the whole body."""

    file = serializers.FileField(help_text="CSV, XLSX or JSON, at most 5 MiB.")


class MatrixAnswer(Shape):
    """What a matrix file did."""

    created = serializers.IntegerField(help_text="Cells that are new.")
    unchanged = serializers.IntegerField(help_text="Cells that were there already.")
    cells = CellRow(many=True)


class RowProblemShape(Shape):
    """What is wrong with one cell of a file."""

    row = serializers.IntegerField(help_text="As an editor numbers lines; 0 is the whole file.")
    column = serializers.CharField(allow_blank=True)
    code = serializers.CharField()
    message = serializers.CharField()


class MatrixRefusalFacts(Shape):
    """All problems of a file."""

    rows = RowProblemShape(many=True)


class MatrixRefusal(Shape):
    """A matrix file that was not taken."""

    code = serializers.CharField(help_text="matrix.rows, or what is wrong with the whole file.")
    message = serializers.CharField()
    facts = MatrixRefusalFacts()
