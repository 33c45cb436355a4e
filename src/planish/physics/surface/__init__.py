"""The pad's surface: summits, how they age, how the disk cuts them anew, and what the pad is made of."""
