"""What became of every note: terminal, CSV, JSON and HTML page."""
