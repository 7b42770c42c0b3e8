"""Swatches and trials to a `DyeSet`; knows no file."""
