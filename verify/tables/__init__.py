"""What can be said of a table of gaps, codes or code words by counting alone, without an engine."""
