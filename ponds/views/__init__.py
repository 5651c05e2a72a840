"""The pages of the ground floor."""
