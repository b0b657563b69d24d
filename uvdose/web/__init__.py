"""The pages and their API, and what lies between them and whoever asks."""
