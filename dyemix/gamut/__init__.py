"""What a shelf reaches, and which dyes serve wanted colours."""
