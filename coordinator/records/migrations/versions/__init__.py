"""One module for each version of the tables; never changed once shipped."""
