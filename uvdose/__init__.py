"""uvdose adds up the ultraviolet that a print in the frame receives, and calls when it is enough."""

__version__ = "0.1.0"
