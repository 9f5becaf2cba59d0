"""What it means: lesions, forward model, posterior, next sign, asymmetry, change, urgency."""
