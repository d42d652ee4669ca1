"""One function per thing a user does."""
