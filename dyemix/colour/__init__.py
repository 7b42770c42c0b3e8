"""Array functions on colour: no readings, no recipes, no files."""
