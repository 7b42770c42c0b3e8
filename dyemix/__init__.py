"""From a dyer's own swatches to the blend of stock dyes that comes nearest to a colour.

>>> import dyemix
>>> swatches = dyemix.read_swatches("swatch_data/napkins.csv")
>>> dyes = dyemix.fit(swatches)
>>> sage = dyemix.Target.parse("#7d8a6e")
>>> found = dyemix.match(dyes, sage, max_dyes=3)
>>> len(found[0].recipe) <= 3
True
"""

from dyemix.bath import (
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
from dyemix.card_plots import draw_card
from dyemix.cards import shade_card
from dyemix.colorimetry import WAVELENGTHS, Light
from dyemix.colour_difference import delta_e
from dyemix.correcting import Correction, correct
from dyemix.dyebook import DyeBook
from dyemix.dyes import DyeSet, Prediction
from dyemix.errors import (
    DyemixError,
    FitError,
    InputError,
    RecipeError,
    SavedError,
    TargetError,
)
from dyemix.families import family
from dyemix.files import read_swatches, write_swatches
from dyemix.files.saved import load, save
from dyemix.fitting import fit
from dyemix.kit import Kit
from dyemix.learning import Learnt, learn
from dyemix.matches import Match, Matches
from dyemix.matching import match, match_many
from dyemix.next_swatch import NextSwatch, next_swatch
from dyemix.planning import first_swatches
from dyemix.plots import draw_dyes, draw_match
from dyemix.reach_plots import draw_reach
from dyemix.reaching import reach
from dyemix.recipe import Recipe
from dyemix.second_bath import subdue_on
from dyemix.series_plots import draw_series
from dyemix.settings import BathSettings
from dyemix.subduing import subdue
from dyemix.swatches import Reading, Swatch, SwatchSet
from dyemix.target import Target
from dyemix.tints import gradient, shade, tint, tone
from dyemix.trial import Bath, Trial
from dyemix.wishes import Wishes

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
