"""Before the ride: expected error, order of laps, go or no-go, the page to print."""
