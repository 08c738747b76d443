"""Questions that users ask, answered by engines."""
