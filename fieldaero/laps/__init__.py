"""Where laps begin and end, the course they share, and what is odd about each."""
