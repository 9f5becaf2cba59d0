"""The visit on plain lines, for a screen reader or a pipe. Knows no framework."""
