"""What a hospital asks before it lets a tool in: hazards, owners, incidents, retention, research. Reads only."""
