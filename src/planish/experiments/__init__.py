"""Published experiments that planish is held against: what was measured, what it says, how far off. One file a source."""
