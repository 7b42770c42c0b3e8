"""A report to keep or hand on: results as one self-contained page; computes nothing."""

from dyemix.report.report import report as report
