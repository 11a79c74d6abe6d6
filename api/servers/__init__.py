"""What servers on one PostgreSQL share for minutes, how they hear of changes, and who does what is done once.

On SQLite one server holds the same in its memory. May not: keep what has to last; know what a case says.
"""
