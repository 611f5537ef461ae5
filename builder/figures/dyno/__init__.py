"""Dyno sessions: pulls, ambient conditions, corrections, comparisons."""
