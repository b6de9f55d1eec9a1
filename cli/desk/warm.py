"""Imported by the forking server before it forks: the whole pipeline, with every loop compiled and loaded."""

from cli.desk import tasks

tasks.warm()
