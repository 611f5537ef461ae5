"""The charts, a module a subject."""
