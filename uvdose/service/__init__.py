"""What a running daemon is asked and does at a word: the API's service on the core, and what each part of it takes."""
