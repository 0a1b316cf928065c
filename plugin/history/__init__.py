"""An archive in a file through time: changes in batches, and the triggers that keep its history.

Needs nothing but Python and its sqlite3; figures stay in the units of the archive, since nothing is computed with them.
"""
