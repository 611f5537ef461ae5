"""Millbook: a shop's engine build records, turned into a browsable archive with the arithmetic shown.

Data goes through in one direction: ``record`` reads what the shop wrote down, ``engine`` holds the
arithmetic of the trade, ``figures`` brings the two together, ``archive`` relates builds to each other,
``draw`` makes the pictures, and ``publish`` writes the pages. ``cli`` only parses and prints.
"""

__version__ = "1.0.0"
