"""The only room that opens a database or a stored night."""
