"""Simulated dyeing with a known truth, for tests and benchmarks; it shares no code with dyemix.

`worlds` are many small dye shelves of unlike physics. Only `as_swatches` knows the package: it
hands their readings over.
"""
