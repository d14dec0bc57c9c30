"""The physics that decides how an action of a simulated arm ends; pure, no clock, no messages."""
