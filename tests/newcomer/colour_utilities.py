import numpy as np

import dyemix

flat = dyemix.spectrum_to_lab(np.full((2, 16), 0.5), np.arange(400, 701, 20), "D50/2")
assert flat.shape == (2, 3)
assert np.allclose(flat[:, 0], 76.07, atol=0.01)
assert dyemix.lab_to_hex(dyemix.hex_to_lab("#7d8a6e")) == "#7d8a6e"
assert dyemix.delta_e([50, 2.5, 0], [[50, 0, -2.5], [50, 2.5, 0]]).round(4).tolist() == [4.3065, 0]
grey = dyemix.Target.of(np.full(31, 0.2), "D65/10").to_light("A/10")
assert abs(grey.lab[1:]).max() < 0.01
