import pandas as pd

import dyemix

dyes = dyemix.load("dyes.json")
colours = pd.read_csv("colours.csv")["colour"]  # 50 hex codes
colours.index += 100
found = dyemix.match_many(dyes, colours, max_dyes=2, count=2).to_frame()
best = pd.concat([colours, found[found["rank"] == 1]], axis=1)
assert (best["colour"] == best["target"]).all()
assert best["likely"].between(0, 100).all()
