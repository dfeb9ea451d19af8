"""Player code and song data for the machine."""
