"""The version of the program, in the one place that everything else reads it from."""

VERSION = "0.1.0"
