"""Engines: playing routines described by TOML files."""
