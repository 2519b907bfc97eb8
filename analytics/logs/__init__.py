"""Read and check the log tables."""
