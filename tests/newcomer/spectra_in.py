import numpy as np
import pandas as pd

import dyemix

wide = pd.read_csv("spectra.csv", index_col="recipe")  # per cent, 380 to 730 nm
read = [dyemix.Reading.from_spectrum(row, np.arange(380, 731, 10), recipe, scale="percent")
        for recipe, row in zip(wide.index, wide.to_numpy(), strict=True)]  # fmt: skip
dyes = dyemix.fit(dyemix.SwatchSet(tuple(read)))
assert dyes.report is not None
assert len(dyes.report.to_frame()) == 1
