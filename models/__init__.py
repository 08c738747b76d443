"""The schemes, and link files of standards and demos."""
