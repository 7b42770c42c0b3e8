"""The dye book: one SQLite file with what a workshop knows of its cloths, dyes and past work.

`schema` holds the tables and how an older book becomes a present one, `connection` the file and
what can befall it, `rows` the values, `book` what is kept and asked, `past` old work used anew,
`tables` the book as CSV.
"""

from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.connection import find_book
from dyemix.dyebook.past import near, repeat
from dyemix.dyebook.records import (
    Cloth,
    Contents,
    DyeLot,
    JobRecord,
    KeptRecipe,
    KeptSet,
    KeptTrial,
    PastPiece,
    PastWork,
    SignOff,
)
from dyemix.dyebook.tables import export_csv

__all__ = [
    "Cloth",
    "Contents",
    "DyeBook",
    "DyeLot",
    "JobRecord",
    "KeptRecipe",
    "KeptSet",
    "KeptTrial",
    "PastPiece",
    "PastWork",
    "SignOff",
    "export_csv",
    "find_book",
    "near",
    "repeat",
]
