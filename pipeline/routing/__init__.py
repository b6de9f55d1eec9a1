"""Finds which strand goes where, so that the band shows the picture as closely as it can."""

from pipeline.routing.extra import add_rows, shortened
from pipeline.routing.forced import costs_if_made
from pipeline.routing.joins import JoinedPoint, thread_changes
from pipeline.routing.lengthening import Point as SwitchedPoint
from pipeline.routing.lengthening import count_made
from pipeline.routing.question import Budget, Ease, Question, Reporter, Routed, Stopped
from pipeline.routing.route import route
from pipeline.routing.seam import seamed
from pipeline.routing.switching import insert_switching

__all__ = [
    "Budget",
    "Ease",
    "JoinedPoint",
    "Question",
    "Reporter",
    "Routed",
    "Stopped",
    "SwitchedPoint",
    "add_rows",
    "costs_if_made",
    "count_made",
    "insert_switching",
    "route",
    "seamed",
    "shortened",
    "thread_changes",
]
