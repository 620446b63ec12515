"""What a leak-mitigation board must do: parameters and the reference state machine."""
