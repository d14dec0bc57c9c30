"""Say the wire contract so that others can take part: a document, schemas, a broker's rules."""
