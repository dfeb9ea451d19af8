"""The grid: from song time to the engine's steps."""
