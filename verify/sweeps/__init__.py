"""Sweeps: one question put to many variants of a link, cell by cell."""
