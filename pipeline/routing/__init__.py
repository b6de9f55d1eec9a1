"""Finds which strand goes where, so that the band shows the picture as closely as it can."""

from pipeline.routing.extra import Allowed, Lengthened, lengthened
from pipeline.routing.forced import costs_if_made
from pipeline.routing.lengthening import LongerBand, count_made
from pipeline.routing.question import Budget, Ease, Question, Reporter, Routed, Stopped
from pipeline.routing.route import route

__all__ = [
    "Allowed",
    "Budget",
    "Ease",
    "Lengthened",
    "LongerBand",
    "Question",
    "Reporter",
    "Routed",
    "Stopped",
    "costs_if_made",
    "count_made",
    "lengthened",
    "route",
]
