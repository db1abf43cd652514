"""The joint fit: one linear-Gaussian model of the whole session, and the drag area of every lap from it."""
