"""Derived figures: a Build goes in; values with their working, source and standing come out."""
