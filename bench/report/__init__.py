"""What people see of a run: live view, plain lines, result, page.  Decides nothing."""
