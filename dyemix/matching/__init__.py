"""A colour to recipes, and a finished piece to the next one."""
