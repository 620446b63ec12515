"""The oracle: whether a board could have done what was seen, by trying everything it could do.

Written from the words on required behaviour alone; shares no code with
the judge, the reference machine or the simulated board.
"""
