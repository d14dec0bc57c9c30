"""The live page and the page of records: what people see, and the little they may do there."""
