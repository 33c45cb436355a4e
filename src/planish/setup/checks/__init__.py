"""What of a setup does not fit together, or is possible but unlikely."""
