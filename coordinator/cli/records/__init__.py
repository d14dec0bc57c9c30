"""The verbs below `records`."""
