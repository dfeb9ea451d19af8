"""Many songs converted together."""
