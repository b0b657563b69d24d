"""A sheet in the light, from its start to its end: states, targets, calls and what decides them. Pure."""
