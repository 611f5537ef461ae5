"""Staging directory, lock and atomic swap."""
