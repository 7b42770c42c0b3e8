"""From a dyer's own swatches to the blend of stock dyes that comes nearest to a colour.

>>> import dyemix
>>> swatches = dyemix.read_swatches("swatch_data/napkins.csv")
>>> dyes = dyemix.fit(swatches)
>>> sage = dyemix.Target.parse("#7d8a6e")
>>> found = dyemix.match(dyes, sage, max_dyes=3)
>>> len(found[0].recipe) <= 3
True
"""

from dyemix.bench import (
    BathSheet,
    BenchPlan,
    Job,
    Stock,
    StockSheet,
    bath_sheet,
    bench_plan,
    read_jobs,
    read_stocks,
    stock_sheet,
)
from dyemix.bench.first_swatches import first_swatches
from dyemix.bench.settings import BathSettings
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import WAVELENGTHS, Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, Swatch, SwatchSet
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Bath, Trial
from dyemix.dyebook import DyeBook
from dyemix.errors import DyemixError, FitError, InputError, RecipeError, SavedError, TargetError
from dyemix.files import read_swatches, write_swatches
from dyemix.fitting.fit import fit
from dyemix.fitting.learn import Learnt, learn
from dyemix.gamut.family import family
from dyemix.gamut.reach import reach
from dyemix.matching.constraints import Wishes
from dyemix.matching.correct import Correction, correct
from dyemix.matching.dispensing import Kit
from dyemix.matching.match import match, match_many
from dyemix.matching.matches import Match, Matches
from dyemix.matching.next_swatch import NextSwatch, next_swatch
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.model.saved import load, save
from dyemix.plots.cards import draw_card
from dyemix.plots.reach import draw_reach
from dyemix.plots.results import draw_dyes, draw_match
from dyemix.plots.series import draw_series
from dyemix.series.second_bath import subdue_on
from dyemix.series.shade_card import shade_card
from dyemix.series.subdue import subdue
from dyemix.series.tints import gradient, shade, tint, tone

__all__ = [
    "WAVELENGTHS",
    "Bath",
    "BathSettings",
    "BathSheet",
    "BenchPlan",
    "Correction",
    "DyeBook",
    "DyeSet",
    "DyemixError",
    "FitError",
    "InputError",
    "Job",
    "Kit",
    "Learnt",
    "Light",
    "Match",
    "Matches",
    "NextSwatch",
    "Prediction",
    "Reading",
    "Recipe",
    "RecipeError",
    "SavedError",
    "Stock",
    "StockSheet",
    "Swatch",
    "SwatchSet",
    "Target",
    "TargetError",
    "Trial",
    "Wishes",
    "bath_sheet",
    "bench_plan",
    "correct",
    "delta_e",
    "draw_card",
    "draw_dyes",
    "draw_match",
    "draw_reach",
    "draw_series",
    "family",
    "first_swatches",
    "fit",
    "gradient",
    "learn",
    "load",
    "match",
    "match_many",
    "next_swatch",
    "reach",
    "read_jobs",
    "read_stocks",
    "read_swatches",
    "save",
    "shade",
    "shade_card",
    "stock_sheet",
    "subdue",
    "subdue_on",
    "tint",
    "tone",
    "write_swatches",
]
