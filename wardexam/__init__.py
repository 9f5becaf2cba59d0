"""wardexam: the bedside neurological examination at the terminal.

The root exports nothing but the version, so that importing one folder costs one folder.
"""

__version__ = "0.1.0"
