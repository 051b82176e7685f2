"""Addresses of predictions and calculators, pages and API."""

from __future__ import annotations

from django.urls import path

from results import calculator_api, prediction_api
from results.views import calculators, prediction_rules, predictions, ratios

pages = [
    path(
        "calculators/",
        calculators.CalculatorPage.as_view(),
        {"which": "flexure"},
        name="calculators",
    ),
    path(
        "calculators/<str:which>/",
        calculators.CalculatorPage.as_view(),
        name="calculator",
    ),
    path(
        "predictions/<uuid:prediction_id>/",
        predictions.PredictionPage.as_view(),
        name="prediction",
    ),
    path(
        "series/<str:code>/predictions/",
        predictions.SeriesPredictions.as_view(),
        name="predictions",
    ),
    path(
        "series/<str:code>/predictions/rules/",
        prediction_rules.PredictionRulesPage.as_view(),
        name="prediction-rules",
    ),
    path(
        "series/<str:code>/test-to-prediction/",
        ratios.RatiosPage.as_view(),
        name="test-to-prediction",
    ),
    path("specimens/<str:code>/pre-test/", predictions.PreTestPage.as_view(), name="pre-test"),
]
api = [
    *(
        path(
            f"calculators/{which}/",
            calculator_api.CalculatorView.as_view(which=which),
            name=f"calculator-{which}",
        )
        for which in calculator_api.CALCULATORS
    ),
    path("predictions/", prediction_api.PredictionsView.as_view(), name="predictions"),
    path(
        "predictions/<uuid:prediction_id>/",
        prediction_api.PredictionView.as_view(),
        name="prediction",
    ),
    path(
        "series/<str:code>/predictions/",
        prediction_api.PredictionsMakeView.as_view(),
        name="predictions-make",
    ),
    path(
        "series/<str:code>/prediction-rules/",
        prediction_api.PredictionRulesView.as_view(),
        name="prediction-rules",
    ),
    path(
        "series/<str:code>/test-to-prediction/",
        prediction_api.RatiosView.as_view(),
        name="test-to-prediction",
    ),
]
