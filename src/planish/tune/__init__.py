"""What to set: many runs of one setup, laid out by a plan, and what they say."""
