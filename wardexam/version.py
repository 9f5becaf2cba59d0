"""The version of the program, named in every answer."""

__version__ = "0.1.0"
