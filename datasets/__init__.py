"""Demo logs and published reference data."""
