"""Seeded attacks on a shop's data: a bounded part in the suite, all of it with `python -m tests.safety`."""
