import pandas as pd

import dyemix

table = pd.read_csv("squares.csv")  # recipe, L*, a*, b*
swatches = dyemix.SwatchSet.from_frame(table, light="D65/10", conditions={"cloth": "linen"})
assert dyemix.SwatchSet.from_frame(swatches.to_frame()) == swatches
dyes = dyemix.fit(swatches)
assert dyes.names == ("gold", "teal")
