"""What people and programs read: pictures, words, tables and JSON."""
