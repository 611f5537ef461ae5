"""Pages, site and handover: what a reader sees, made from builds and their figures."""
