"""What every folder may use: errors, rounding, ranges of quantities, limits of input, files written whole, version."""
