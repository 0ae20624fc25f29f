"""Where a run stands: state folded from its journal, the gates, the next step."""
