from matplotlib.figure import Figure

import dyemix

dyes = dyemix.load("dyes.json")
found = dyes.evaluate(dyemix.read_swatches("mixtures.csv"))
assert (found.to_frame()["delta_e"] == found.delta_e).all()
axes = Figure().subplots()
assert dyemix.plot(dyes.cross_validate(), ax=axes) is axes
assert axes.get_xlabel() == "ΔE2000"
