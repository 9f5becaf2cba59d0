"""From what was found back to the lesion: prior, evidence, posterior, and what the doctor is told of it."""
