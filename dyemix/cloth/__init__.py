"""A mottled piece in numbers, and a preview of how a mix will part into its dyes."""
