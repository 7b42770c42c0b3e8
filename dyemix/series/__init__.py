"""Steps away from a recipe: quieter, paler, darker, greyer."""
