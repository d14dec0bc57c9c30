"""The certificate of a joint: what was proved about every bolt, as PDF and as HTML."""
