"""How a value with its unit is read: units, dimensions, readings."""
