"""One file for each screen a doctor sees."""
