"""Seeded attacks on the data a shop trusts to the program: bounded in the suite, longer with `python -m tests.safety`."""
