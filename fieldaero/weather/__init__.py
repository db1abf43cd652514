"""Observations, METAR and station files, brought to the moments of a ride."""
