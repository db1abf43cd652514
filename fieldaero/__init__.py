"""fieldaero: wind-tunnel rigour for cycling aerodynamics, from ride files."""
