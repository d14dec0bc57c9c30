"""The verb `joint`: the figures of a joint file."""
