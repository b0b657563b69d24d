"""From calibration prints to doses: readings, curves, and what they say with their interval. Pure."""
