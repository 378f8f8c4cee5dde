"""Where time goes, what will be late, what to promise."""
