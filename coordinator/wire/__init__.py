"""The wire contract: messages, topics, and the codec at the bus's border."""
