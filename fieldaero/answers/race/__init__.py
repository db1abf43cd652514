"""Seconds over a race course, by the equation of motion."""
