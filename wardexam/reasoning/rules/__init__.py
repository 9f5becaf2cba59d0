"""What needs no probability: asymmetry, change, what still stands, urgency, the hospital's wording."""
