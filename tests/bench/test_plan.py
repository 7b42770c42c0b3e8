"""Several baths at once, and the tables of jobs and bottles they come from."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from dyemix.bench.plan import BenchPlan, Job, bench_plan, read_jobs
from dyemix.bench.settings import BathSettings, Making
from dyemix.bench.stock import ADDED_TO, Stock, parse_stocks, read_stocks
from dyemix.dataset.serialise import from_json
from dyemix.errors import DyemixError, InputError
from tests.bench.conftest import four_dyes

ON = date(2026, 5, 8)
JOBS = """job,recipe,cloth_g,pieces,cloth,alkali
night runner,navy 3 + scarlet 0.5,8 oz,1,cotton,
sage napkins,gold 0.40 + navy 0.22,240,12,linen,
pale sky,turquoise 0.1,100,4,cotton,with
"""
STOCKS = """dye,stock_pct,made,cold,left_ml
gold,2,2026-05-03,no,200
scarlet,2,2026-04-01,no,100
navy,4,2026-05-03,yes,
turquoise,1,,,
"""


def jobs_file(folder: Path, text: str = JOBS) -> Path:
    path = folder / "jobs.csv"
    path.write_text(text, encoding="utf-8")
    return path


def stocks_file(folder: Path, text: str = STOCKS) -> Path:
    path = folder / "stocks.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def plan(tmp_path: Path) -> BenchPlan:
    jobs, stocks = read_jobs(jobs_file(tmp_path)), read_stocks(stocks_file(tmp_path))
    return bench_plan(jobs, stocks=stocks, on=ON, dyes=four_dyes())


def test_cups_go_from_the_palest(plan: BenchPlan) -> None:
    assert [sheet.job for sheet in plan.sheets] == ["pale sky", "sage napkins", "night runner"]
    assert plan.sheets[2].cloth_g == pytest.approx(8 * 28.349523125)
    without = bench_plan([Job("a", "navy 1", 100), Job("b", "gold 0.5", 100)], on=ON)
    assert [sheet.job for sheet in without.sheets] == ["b", "a"]


def test_stock_to_make_by_hand(plan: BenchPlan) -> None:
    """Night runner is 226.8 g: navy 226.8 × 3 ÷ 4 = 170.1 mL, scarlet 226.8 × 0.5 ÷ 2 = 56.7 mL.

    Sage napkins: gold 240 × 0.4 ÷ 2 = 48 mL, navy 240 × 0.22 ÷ 4 = 13.2 mL; pale sky: turquoise
    100 × 0.1 ÷ 1 = 10 mL; to marks of 0.1 mL, and of 1 from 100. A tenth more, in steps of 50 mL;
    a scale of 1 g weighs 10 g or more: so of 4 % 250 mL, of 2 and 1 % what is diluted from 5.
    """
    needs = {need.of: (need.need_ml, need.left_ml) for need in plan.stocks}
    assert needs["gold"] == pytest.approx((48, 200))
    assert needs["navy"] == pytest.approx((170 + 13.2, 0))
    assert needs["scarlet"] == pytest.approx((56.7, 0))  # what is left is past its life
    assert needs["turquoise"] == pytest.approx((10, 0))
    how = {need.of: need.how for need in plan.stocks}
    assert how["gold"] is None  # enough is left
    assert how["navy"] == Making(10, 250, 4, 0, 250)
    assert how["scarlet"] == Making(10, 500, 2, 0, 500)  # within a bottle
    assert how["turquoise"] == Making(10, 200, 5, 10, 50)
    _, blocks = plan.read()
    made = next(block for block in blocks if block.title.startswith("1. Stock")).rows
    bottles = {row[0]: row[3:] for row in made if len(row) > 1}
    assert bottles["gold 2 %"] == ("enough", "of 2026-05-03")
    assert bottles["navy 4 %"] == (
        "10 g powder made up TO 250 mL", "of 2026-05-03; see what is left, make less",
    )  # fmt: skip
    assert bottles["scarlet 2 %"] == (
        "10 g powder made up TO 500 mL", "of 2026-04-01 is past its life",
    )  # fmt: skip
    weak = "10 g powder made up TO 200 mL (5 %); 10.0 mL of that up TO 50.0 mL"
    assert bottles["turquoise 1 %"] == (weak, "–")


def test_a_weak_stock_takes_ten_ml() -> None:
    """0.01 % of 100 g from 2 % is 0.5 mL: 5 mL of a stock 1 in 10, made of 10 mL."""
    (need,) = bench_plan([Job("a", "gold 0.01", 100)], stocks=2.0, on=ON).stocks
    assert need.need_ml == 10


def test_a_plan_comes_back_and_fits_the_page(plan: BenchPlan) -> None:
    assert from_json(BenchPlan, plan.to_json()) == plan
    assert max(map(len, str(plan).splitlines())) <= 100
    assert "An adult mixes" in str(plan)
    assert "pale sky" in plan.to_html()


def test_warnings_name_their_jobs(plan: BenchPlan) -> None:
    mixtures = [w for w in plan.warnings if "usually a mixture" in w]
    assert [w.partition(":")[0] for w in mixtures] == ["navy"]  # once, of two jobs
    assert any(w.startswith("night runner: ") and "past their life" in w for w in plan.warnings)
    same = bench_plan([Job("a", "gold 1", 100), Job("b", "gold 2", 100)], on=ON)
    assert [w for w in same.warnings if w.startswith("what the cloth is made of is not known")]


def test_costs_are_told_by_cup() -> None:
    kit = BathSettings(dye_cost={"": 1.0}, currency="EUR")
    text = str(bench_plan([Job("a", "gold 1", 100, pieces=4)], settings=kit, on=ON))
    assert "5. Cost of dye, salt and soda" in text
    assert "1.00 EUR" in text
    assert "0.25 EUR" in text
    assert "without salt, soda ash" in text
    assert "Cost" not in str(bench_plan([Job("a", "gold 1", 100)], on=ON))


def test_every_faulty_job_is_told() -> None:
    with pytest.raises(InputError) as several:
        bench_plan([Job("a", "gold x", 100), Job("b", "gold 1", -1), Job("c", "gold 1", 100)])
    assert len(several.value.faults) == 2
    with pytest.raises(DyemixError, match="no jobs"):
        bench_plan([])


def test_every_fault_of_a_table_is_told(tmp_path: Path) -> None:
    bad = JOBS.replace("8 oz", "much").replace(",12,", ",0,")
    with pytest.raises(InputError) as faults:
        read_jobs(jobs_file(tmp_path, bad))
    assert [(f.row, f.column) for f in faults.value.faults] == [(2, "cloth_g"), (3, "pieces")]
    dated = STOCKS.replace("2026-04-01", "1 April").replace("yes", "maybe").replace("200", "-2")
    with pytest.raises(InputError) as faults:
        read_stocks(stocks_file(tmp_path, dated))
    assert [f.row for f in faults.value.faults] == [2, 3, 4]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (STOCKS, "unknown: dye, stock_pct"),
        ("job,recipe\na,gold 1\n", "cloth_g"),
        ("job,recipe,cloth_g\na,,5\n", "blank"),
        ("job,recipe,cloth_g\n", "no rows"),
        ("job,recipe,cloth_g,job\na,gold 1,5,b\n", "two columns mean job"),
        ("job,recipe,cloth_g\na,gold 1,5,6\n", "4 cells under 3 headings"),
    ],
)
def test_what_is_no_table_of_jobs(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        read_jobs(jobs_file(tmp_path, text))


def test_tables_are_read_as_they_are_saved(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv"):
        read_jobs(tmp_path / "none.csv")
    path = tmp_path / "jobs.csv"
    path.write_bytes(JOBS.replace("sky", "ciel d'été").encode("cp1252"))
    with pytest.raises(InputError, match="UTF-8"):  # a name guessed wrong would be another dye
        read_jobs(path)
    semicolons = JOBS.replace(",", ";").replace("0.40", "0,40")
    assert read_jobs(jobs_file(tmp_path, semicolons))[1].recipe == "gold 0,40 + navy 0.22"
    for words in ("5:1", "1:5", "5"):  # as dyers and as mills write it
        ratio = f"job,recipe,cloth_g,liquor ratio\na,gold 1,100,{words}\n"
        assert read_jobs(jobs_file(tmp_path, ratio))[0].liquor_ratio == 5


def test_stocks_as_a_dyer_names_them(tmp_path: Path) -> None:
    assert parse_stocks("2") == (Stock("", 2),)
    assert parse_stocks("2, navy 1") == (Stock("", 2), Stock("navy", 1))
    assert parse_stocks("navy 1, gold 2") == (Stock("navy", 1), Stock("gold", 2))
    assert len(parse_stocks(str(stocks_file(tmp_path)))) == 4  # type: ignore[arg-type]
    how = "dye,stock_pct,how\ngold,5,added to\n"
    assert parse_stocks(str(stocks_file(tmp_path, how))) == (Stock("gold", 5, how=ADDED_TO),)


def test_a_table_of_bottles_needs_the_dye_and_its_strength(tmp_path: Path) -> None:
    table = tmp_path / "bottles.csv"
    table.write_text("dye,stock_pct,cold\nnavy,2,yes\ngold,1,no\n", encoding="utf-8")
    assert [stock.cold for stock in read_stocks(table)] == [True, False]
    for headings, missing in (("dye,cold\nnavy,yes\n", "stock_pct"), ("stock_pct\n2\n", "dye")):
        table.write_text(headings, encoding="utf-8")
        with pytest.raises(DyemixError, match=f"missing: {missing}. This"):
            read_stocks(table)
