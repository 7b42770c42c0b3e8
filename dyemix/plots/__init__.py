"""Results to pictures; computes nothing."""
