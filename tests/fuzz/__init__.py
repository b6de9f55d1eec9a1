"""Hostile input for every command: ``python -m tests.fuzz --count 10000 --seed 0``."""
