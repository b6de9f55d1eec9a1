"""The report of a band: one typed value, made once, which every writer takes."""

from pipeline.report.make import report_of, report_of_blocks, report_of_pattern
from pipeline.report.model import Report
from pipeline.report.read import read_report
from pipeline.report.words import certificate, likeness, looks, thin_parts, verdict

__all__ = [
    "Report",
    "certificate",
    "likeness",
    "looks",
    "read_report",
    "report_of",
    "report_of_blocks",
    "report_of_pattern",
    "thin_parts",
    "verdict",
]
