"""Persistent things of this room, one noun a file."""

from results.models.history import HistoryImport, TypedCorrection, TypedResult
from results.models.prediction import Prediction
from results.models.prediction_rules import PredictionRules
from results.models.reduction import Metric, Reduction
from results.models.release import Release
from results.models.what_if import WhatIf, WhatIfAnswer, WhatIfNumber

__all__ = [
    "HistoryImport",
    "Metric",
    "Prediction",
    "PredictionRules",
    "Reduction",
    "Release",
    "TypedCorrection",
    "TypedResult",
    "WhatIf",
    "WhatIfAnswer",
    "WhatIfNumber",
]
