"""Bring the signals of a real floor in from controllers; it reads, and never writes or moves."""
