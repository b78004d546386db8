"""Measurements against floors taken in the same run. They print a table, then one JSON line."""
