"""Checks against things outside the project; each names its source beside it."""
