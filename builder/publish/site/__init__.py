"""MkDocs, the search index and the content security policy."""
