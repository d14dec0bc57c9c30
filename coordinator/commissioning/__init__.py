"""Bring a cell up one party at a time: what each must show before it may take part."""
