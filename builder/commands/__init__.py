"""The commands of millbook, a module each: parse the arguments, call one function, print.

A command imports what it calls only when it runs, so that `--help` answers at once.
"""
