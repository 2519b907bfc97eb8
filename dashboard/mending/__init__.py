"""Mend rows that were set aside, in the browser, and check them again."""
