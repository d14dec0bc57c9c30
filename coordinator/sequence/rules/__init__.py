"""Rules that judge a compiled sequence: tools, bolts, pulls, inserted parts, zones."""
