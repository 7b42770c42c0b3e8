"""What was dyed, what was read of it, and what is wanted."""
