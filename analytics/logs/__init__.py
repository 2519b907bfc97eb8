"""Read and check the log tables.

`reading.read_logs(folder)` gives the `CheckedLogs` every later stage starts from.
"""
