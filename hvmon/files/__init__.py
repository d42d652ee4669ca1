"""The only room that opens other files."""
