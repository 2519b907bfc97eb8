"""The demo scenario: its world, its truth and its generator."""
