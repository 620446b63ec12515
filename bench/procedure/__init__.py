"""What to do and when: steps, waits and the built-in procedures; never what is right."""
