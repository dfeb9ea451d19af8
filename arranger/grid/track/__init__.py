"""Beat tracking for songs that don't follow their own beat."""
