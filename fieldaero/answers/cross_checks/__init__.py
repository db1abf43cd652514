"""What else is known, held against the result: claims, tunnel sweeps, a known drag, change with yaw."""
