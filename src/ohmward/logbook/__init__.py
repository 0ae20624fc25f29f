"""What was done: the journal (durable log of one run) and the folder of runs."""
