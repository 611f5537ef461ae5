"""One function, one picture: what matplotlib draws, as SVG with real text and a description."""
