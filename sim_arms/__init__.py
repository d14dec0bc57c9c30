"""Simulated arms, floor and steel; they know the coordinator only by its wire format."""
