"""The verbs below `commission`."""
