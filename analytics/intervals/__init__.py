"""When to replace."""
