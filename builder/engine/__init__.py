"""The arithmetic of the trade: pure functions of SI floats and NumPy arrays, knowing nothing of records or pages."""
