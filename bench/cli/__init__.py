"""What a person types: parses, constructs, prints, chooses the exit code.

The only room that wires the others together.  Each command stands in a module
of its own and is imported when it is asked for, so that `--help` stays quick.
"""
