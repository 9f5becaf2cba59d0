"""Published examinations, coded in our own words: an open benchmark of localisation.

`development.toml` may be used to mend the model, `validation.toml` to choose between ways of mending it,
`test.toml` is scored and never mended on. Each case names its source and what fixes where the lesion was.
`python -m tests.handbook.published` prints how the engine does on a part.
"""
