"""The command line: each command a few lines over the folders below."""
