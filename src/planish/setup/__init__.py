"""What the user describes: models, parts, checks, and the door to SI values."""
