import numpy as np

import dyemix

dyes = dyemix.load("dyes.json")
pot = dyes.predict("marigold 0.8 + navy 0.25")
assert 0 < pot.median < pot.likely < pot.bound
assert np.linalg.eigvalsh(pot.covariance).min() >= 0
far = dyes.predict({"marigold": 0.8, "navy": 0.25}, light="A/10")
assert dyemix.delta_e(pot.lab, far.lab) > 1
