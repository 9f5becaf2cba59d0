"""The body as tables: signs, segments, roots, nerves, tracts, territories. TOML and a loader."""
