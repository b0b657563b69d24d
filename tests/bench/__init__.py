"""The benchmark: run by hand, never as a test. See run.py."""
