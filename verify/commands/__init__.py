"""The commands, a module each. Heavy things (z3, rich, pydantic) load only inside a command."""
