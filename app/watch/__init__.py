"""The rules that raise flags: overdue, too early, stuck, at risk."""
