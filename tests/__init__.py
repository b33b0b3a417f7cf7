"""The tests of Tinebook."""
