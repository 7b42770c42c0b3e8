"""Sheets for the bench: one bath, one stock, a day with several baths, the first swatches.

`stock` and `method` hold the sums, `sheet` how any sheet looks. The figures they rest on are in
`data/settings.toml`, the words in `templates/sheets`, the cautions in `data/cautions.toml`.
"""
