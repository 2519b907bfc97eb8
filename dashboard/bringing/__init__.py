"""Bring your own logs: files in, a mapping proposed and settled, rows checked, the job run."""
