"""What many builds show together: index, similarity, estimate, comparison, part usage."""
