"""One function, one picture: matplotlib figures saved as SVG with real text and a description."""
