"""A ward on a PostgreSQL server, behind the same operations as one in a folder.

Nothing of it is imported unless the place that is given is a server's (`wardexam.records.postgres.url`).
"""
