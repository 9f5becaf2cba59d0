"""From a lesion to what each sign should show: damage, severities, forms, losses, observation, rows."""
