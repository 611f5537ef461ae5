"""Bring builds in from a spreadsheet: read it, assign its columns to fields, write a folder for each row."""
