"""What the shop wrote down: YAML and CSV in, one typed Build (or a list of problems) out."""
