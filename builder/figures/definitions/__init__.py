"""The figures themselves, a module a subject."""
