"""Bothsides: two arms, one joint, proved before it touches steel."""
