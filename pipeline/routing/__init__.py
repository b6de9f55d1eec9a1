"""Finds which strand goes where, so that the band shows the picture as closely as it can."""

from pipeline.routing.problem import Budget, Ease, Problem, Reporter, Solution, Stopped
from pipeline.routing.route import route

__all__ = ["Budget", "Ease", "Problem", "Reporter", "Solution", "Stopped", "route"]
