"""The dye book: one SQLite file with what a workshop knows of its cloths, dyes and past work.

`schema` holds how an older book becomes a present one, `connection` the file and what can befall
it, `rows` the values, `book` what is kept and asked, `past` old work used anew, `tables` the book
as CSV.
"""
