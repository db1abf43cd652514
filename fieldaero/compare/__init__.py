"""From the drag areas of laps to setups: contrasts, uncertainty budget, verdict."""
