"""The ward looks back: what it was in the end, how two doctors agree, how complete and how soon. Counts, and no judgement of a person."""
