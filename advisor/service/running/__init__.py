"""The server processes, what they answer from, and its exchange."""
