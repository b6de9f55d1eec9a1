"""Slow or general ways to solve routing problems, written apart from the router to check it.

``brute`` follows every possible band, ``linear`` is the mixed-integer programme for HiGHS, ``flow`` the
two-thread minimum-cost flow for networkx, ``constraint`` the CP-SAT model, ``hand`` what a maker would do
without a router. All take a ``Question``; none imports anything of ``pipeline.routing`` but that.
"""
