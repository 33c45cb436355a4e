"""Light on thin films: what a stack reflects and lets through, and the indices of usual materials."""
