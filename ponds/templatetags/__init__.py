"""Template tags of the ground floor."""
