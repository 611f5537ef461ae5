"""Dyno logs in any dialect: encoding, header, columns, rows, diagnostics."""
