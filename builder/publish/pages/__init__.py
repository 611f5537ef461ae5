"""Records and figures to Markdown pages."""
