"""The dye book: one SQLite file with what a workshop knows of its cloths, dyes and past work.

`connection` holds the file, its layouts and what can befall it, `rows` the values, `methods` how
cloth was dyed, `book` what is kept and asked, `past` old work used anew.
"""
