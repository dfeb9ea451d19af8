"""The exact one-bit signal and the audio made from it."""
