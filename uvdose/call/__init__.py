"""Telling the person: each call seen through until it has sounded, over every way that the settings name."""
