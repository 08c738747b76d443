"""Recordings: traces and measurements as files, VCD, CSV and JSON, written and read back."""
