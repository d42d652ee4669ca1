"""Alembic migrations, run by the program itself; additive only."""
