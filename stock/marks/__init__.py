"""Marks of single turtles: notches in the rim of the shell, tags, the shell drawn. No Django, no database."""
