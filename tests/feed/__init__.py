"""What leaves Tinebook by machine."""
