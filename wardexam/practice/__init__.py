"""Practice: invented patients drawn from the tool's own model, and published ones; never a real patient's record."""
