"""What the readings mean. Pure: no files, clocks or state."""
