"""Figures."""
