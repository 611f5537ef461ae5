"""What an engine would be with other values: changes, solved values, combinations of parts."""
