"""Air, Earth and the forces on a rider, as functions on arrays with units in their names."""
