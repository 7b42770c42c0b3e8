import pandas as pd

import dyemix

dyes = dyemix.load("dyes.json")
colours = pd.read_csv("colours.csv")["colour"]  # 50 hex codes
best = [found[0] for found in dyemix.match_many(dyes, colours, max_dyes=2)]
table = pd.DataFrame({"colour": colours, "likely": [match.likely for match in best]})
assert len(table) == 50
assert table["likely"].between(0, 100).all()
