"""The verb `new`: start a cell with a joint and a first sequence."""
