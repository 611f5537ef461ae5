"""What changed since the last publish: content hashes, state, output directories."""
