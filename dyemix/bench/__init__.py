"""Sheets for the bench: one bath, one stock, a day with several baths, the first swatches.

`dosing`, `auxiliaries`, `method` and `stock` hold the sums, `warnings` what to see to first,
`cautions` what every sheet says, `sheet` how one looks. The figures they rest on are in
`data/settings.toml`, which `settings` reads.
"""

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.plan import BenchPlan, Job, bench_plan
from dyemix.bench.stock import ADDED_TO, MADE_UP_TO, Stock, StockSheet, stock_sheet
from dyemix.bench.tables import parse_stocks, read_jobs, read_stocks

__all__ = [
    "ADDED_TO",
    "MADE_UP_TO",
    "BathSheet",
    "BenchPlan",
    "Job",
    "Stock",
    "StockSheet",
    "bath_sheet",
    "bench_plan",
    "parse_stocks",
    "read_jobs",
    "read_stocks",
    "stock_sheet",
]
