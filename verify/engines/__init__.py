"""Engines: simulator, explorer, solver. All read the same machines."""
