"""The forms that people type heads, tasks and papers into."""
