"""The polishers of a setup, one file a motion: keys with units and ranges, checks, what `new` writes."""
