"""Ends of a link that are not ours: talked to, run against the model, and searched."""
