"""The pages that belong to the whole archive."""
