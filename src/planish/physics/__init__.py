"""Pure functions on SI floats and arrays: no files, no models, no state."""
