"""One row per disc life, made from the logs."""
