"""The dye book: one SQLite file with what a workshop knows of its cloths, dyes and past work.

A `DyeBook` is one object in four layers, each the base of the next: `connection` holds the file,
its layouts and what can befall it, `rows` the values, `methods` how cloth was dyed, `book` what is
kept and asked. `records` are what it gives back, `past` is old work used anew.
"""
