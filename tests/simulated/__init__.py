"""Simulated dyeing with a known truth, for tests and benchmarks; it shares no code with dyemix.

`worlds` are many small dye shelves of unlike physics, `workshop` is one large shelf that also wrote
the demo swatches, `camera` a camera. Only `as_swatches` knows the package: it hands over readings.
"""
