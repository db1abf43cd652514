"""Plain statistics on arrays, nothing about cycling, checked against outside numbers."""
