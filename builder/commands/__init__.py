"""The commands of millbook: each parses its arguments, calls one function and prints."""
