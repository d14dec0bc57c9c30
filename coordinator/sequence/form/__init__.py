"""Read files into a tree with positions, and report what is wrong with their form."""
