"""What an outside package adds to planish; all of it is invented."""
