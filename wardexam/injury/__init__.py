"""The neurological classification of a suspected spinal cord injury, computed from its scores.

Follows the international standard's revision of 2019 as far as its sources could be read: each rule of
`rules.toml` says whether it was published, is from memory or is our own reading. A suggestion for
senior review, not for unchecked clinical use.
"""
