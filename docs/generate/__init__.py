"""Pages of the documentation that are written from the package itself, and the formulas in them."""
