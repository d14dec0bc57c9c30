"""What a run leaves behind: the journal of its events and the record of every bolt."""
