"""What happens when a reader changes something."""
