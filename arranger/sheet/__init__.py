"""The sheet: two voices and drums as an editable text file."""
