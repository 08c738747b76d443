"""The modelling language: expressions, memory, machines. Knows nothing of links or engines."""
