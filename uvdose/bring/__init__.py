"""Bringing in: readings that something else recorded, out of a CSV file."""
