"""Alembic's folder: how the tables of the record store came to be what they are."""
