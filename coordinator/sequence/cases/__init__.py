"""Read case and answer files."""
