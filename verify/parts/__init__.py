"""The parts of a link that are not schemes, and how a whole link is put together."""
