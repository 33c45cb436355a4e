"""Any number of the model fitted to anything measured."""
