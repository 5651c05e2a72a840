"""The tables and filters of the list pages."""
