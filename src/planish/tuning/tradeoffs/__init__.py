"""Trade-offs: the setups of which none is better in one aim without being worse in another."""
