"""The page of one build, a module for each of its sections."""
