import numpy as np
import pandas as pd

import dyemix

dyes = dyemix.load("dyes.json")
amounts = np.random.default_rng(1).dirichlet(np.ones(len(dyes)), 1000)
recipes = pd.DataFrame(amounts, columns=list(dyes.names)).sort_index(axis=1)
found = dyes.predict(recipes).to_frame()
assert len(found) == 1000
assert (found["warnings"] != "").any()
