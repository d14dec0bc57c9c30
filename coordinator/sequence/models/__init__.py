"""The models of each kind of file, and how a document is validated against them."""
