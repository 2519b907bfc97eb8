"""Life models, curves and their limits."""
