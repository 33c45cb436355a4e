"""How much of a window a union of shapes covers, exactly."""
