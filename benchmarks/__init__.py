"""Measurements, and the general solvers that the router is measured and tested against."""
