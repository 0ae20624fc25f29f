"""What the supply ought to do, computed from its design sheet. Pure: no files, clocks or state."""
