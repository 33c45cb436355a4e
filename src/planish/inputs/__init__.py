"""What each input of a setup moves: where it is tried, over which range, and what the trade or a source says of it."""
