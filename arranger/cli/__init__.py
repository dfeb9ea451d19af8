"""The command line: one module a command, no musical logic."""
