"""What each disc endured: operating ratio and pressure cycles."""
